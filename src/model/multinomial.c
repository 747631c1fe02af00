#include "model/multinomial.h"

#include "model/classes_inner.h"

qx_status qx_multinomial_fit(qx_ctx *cx, const qx_classes_spec *spec, qx_classes **out)
{
    return qx_classes_fit(cx, spec, QX_BASELINE, out);
}

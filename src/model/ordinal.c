#include "model/ordinal.h"

#include "model/classes_inner.h"

qx_status qx_ordinal_fit(qx_ctx *cx, const qx_classes_spec *spec, qx_classes **out)
{
    return qx_classes_fit(cx, spec, QX_CUMULATIVE, out);
}

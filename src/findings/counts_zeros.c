#include "findings/counts_zeros.h"

#include <math.h>
#include <string.h>

#include "model/zero_inflation.h"

/* Draws are the same in every run. */
#define ZEROS_SEED 20240304u
/* A p below it is worth a look. */
static const double WORTH_A_LOOK = 0.05;

static qx_status add_line(qx_work *w, const qx_zeros *zeros)
{
    const size_t count = w->result->check_count;
    const char *advice = qx_zero_inflation_advice(w->arena, zeros, WORTH_A_LOOK);
    qx_check_line *line;
    if (advice == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for an advice");
    }
    QX_NEW_IN(w->cx, w->arena, line, count + 1);
    if (count > 0) {
        memcpy(line, w->result->check, count * sizeof *line);
    }
    line[count] = (qx_check_line){.check = "extra zeros",
                                  .value = zeros->value,
                                  .p = zeros->p,
                                  .num_df = NAN,
                                  .den_df = NAN,
                                  .lower = NAN,
                                  .upper = NAN,
                                  .advice = advice[0] == '\0' ? NULL : advice};
    w->result->check = line;
    w->result->check_count = count + 1;
    return QX_OK;
}

qx_status qx_counts_check_zeros(qx_work *w, const qx_glmm *fit)
{
    qx_zeros zeros;
    if (fit->family->serves != QX_SERVES_COUNT || !fit->converged) {
        return QX_OK;
    }
    const qx_status asked =
        qx_zero_inflation(w->cx, fit, w->data.k, NULL, 0, ZEROS_SEED, &zeros);
    if (asked == QX_E_ARG || asked == QX_E_NOT_PD) {
        qx_ctx_forgive(w->cx); /* it cannot be asked of these data */
        return QX_OK;
    }
    QX_TRY(asked);
    if (!(zeros.observed > 0.0) || isnan(zeros.p)) {
        return QX_OK;
    }
    return add_line(w, &zeros);
}

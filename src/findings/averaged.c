#include "findings/averaged.h"

#include <math.h>

#include "numeric/quad.h"

/* Halvings of twice the end down to the spacing of doubles. */
#define HALVINGS 64

qx_status qx_averaged_make(qx_ctx *cx, qx_link link, double variance, qx_averaged *out)
{
    qx_averaged made = {.link = link, .variance = variance};
    QX_TRY(qx_gauss_hermite(cx, QX_AVERAGED_NODES, made.node, made.weight));
    *out = made;
    return QX_OK;
}

double qx_averaged_over(const qx_averaged *a,
                        double base,
                        qx_averaged_function *f,
                        const void *data)
{
    const double sd = sqrt(2.0 * a->variance);
    double sum = 0.0, total = 0.0;
    for (size_t i = 0; i < QX_AVERAGED_NODES; i++) {
        sum += a->weight[i] * f(data, base + sd * a->node[i]);
        total += a->weight[i];
    }
    return sum / total;
}

static double mean_at(const void *data, double predictor)
{
    return qx_link_mean(((const qx_averaged *)data)->link, predictor);
}

double qx_averaged_mean(const qx_averaged *a, double base)
{
    return qx_averaged_over(a, base, mean_at, a);
}

double qx_averaged_base(const qx_averaged *a, double mean)
{
    double low = -QX_AVERAGED_END, high = QX_AVERAGED_END;
    if (a->link == QX_LINK_IDENTITY) {
        return mean;
    }
    if (a->link == QX_LINK_LOG) {
        return mean > 0.0 ? log(mean) - 0.5 * a->variance : -QX_AVERAGED_END;
    }
    if (mean <= 0.0 || mean >= 1.0) {
        return mean <= 0.0 ? -QX_AVERAGED_END : QX_AVERAGED_END;
    }
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = 0.5 * (low + high);
        *(qx_averaged_mean(a, middle) > mean ? &high : &low) = middle;
    }
    return 0.5 * (low + high);
}

/* numeric/deriv.c - Ridders' table over central differences. */
#include "numeric/deriv.h"

#include <math.h>
#include <string.h>

#define TABLE  8   /* rows of Ridders' table */
#define SHRINK 1.6 /* factor between its steps */

/* Extrapolates a family of central differences d(h) to h = 0: returns the entry of the
 * table whose neighbours agree best. */
typedef double difference(void *data, double h);

static double ridders(difference *d, void *data, double h)
{
    double table[TABLE][TABLE];
    double best = (double)NAN, error = (double)INFINITY;
    for (int i = 0; i < TABLE; i++) {
        double factor = 1.0;
        table[0][i] = d(data, h);
        h /= SHRINK;
        for (int j = 1; j <= i; j++) {
            factor *= SHRINK * SHRINK;
            table[j][i] =
                (table[j - 1][i] * factor - table[j - 1][i - 1]) / (factor - 1.0);
            const double gap = fmax(fabs(table[j][i] - table[j - 1][i]),
                                    fabs(table[j][i] - table[j - 1][i - 1]));
            if (gap <= error) {
                error = gap;
                best = table[j][i];
            }
        }
        if (i > 0 && fabs(table[i][i] - table[i - 1][i - 1]) >= 2.0 * error) {
            break; /* rounding has taken over */
        }
    }
    return best;
}

typedef struct place {
    qx_objective *f;
    void *data;
    size_t m;
    double *x; /* a copy that is moved and put back */
    size_t i, j;
    double scale_j;
} place;

static double value_at(place *p, double step_i, double step_j)
{
    const double kept_i = p->x[p->i], kept_j = p->x[p->j];
    p->x[p->i] += step_i;
    p->x[p->j] += step_j;
    const double value = p->f(p->data, p->m, p->x);
    p->x[p->j] = kept_j;
    p->x[p->i] = kept_i;
    return value;
}

static double first_difference(void *data, double h)
{
    place *p = data;
    return (value_at(p, h, 0.0) - value_at(p, -h, 0.0)) / (2.0 * h);
}

static double second_difference(void *data, double h)
{
    place *p = data;
    return (value_at(p, h, 0.0) - 2.0 * value_at(p, 0.0, 0.0) + value_at(p, -h, 0.0)) /
           (h * h);
}

static double mixed_difference(void *data, double h)
{
    place *p = data;
    const double k = h * p->scale_j;
    return (value_at(p, h, k) - value_at(p, h, -k) - value_at(p, -h, k) +
            value_at(p, -h, -k)) /
           (4.0 * h * k);
}

static double first_step(double x, double share)
{
    return share * fmax(fabs(x), 1e-2);
}

static qx_status copy_place(
    qx_ctx *cx, size_t m, qx_objective *f, void *data, const double x[], place *out)
{
    *out = (place){.f = f, .data = data, .m = m};
    QX_NEW(cx, out->x, m);
    memcpy(out->x, x, m * sizeof *x);
    return QX_OK;
}

static qx_status gradient_at(qx_ctx *cx,
                             size_t m,
                             qx_objective *f,
                             void *data,
                             const double x[],
                             double gradient[])
{
    place p;
    QX_TRY(copy_place(cx, m, f, data, x, &p));
    for (p.i = 0; p.i < m; p.i++) {
        p.j = p.i;
        gradient[p.i] = ridders(first_difference, &p, first_step(x[p.i], 0.05));
    }
    return QX_OK;
}

qx_status qx_gradient(qx_ctx *cx,
                      size_t m,
                      qx_objective *f,
                      void *data,
                      const double x[],
                      double gradient[])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, gradient_at(cx, m, f, data, x, gradient));
    return status;
}

static qx_status hessian_at(
    qx_ctx *cx, size_t m, qx_objective *f, void *data, const double x[], qx_mat hessian)
{
    place p;
    QX_TRY(copy_place(cx, m, f, data, x, &p));
    for (p.i = 0; p.i < m; p.i++) {
        const double h = first_step(x[p.i], 0.1);
        p.j = p.i;
        QX_AT(hessian, p.i, p.i) = ridders(second_difference, &p, h);
        for (p.j = 0; p.j < p.i; p.j++) {
            p.scale_j = first_step(x[p.j], 0.1) / h;
            QX_AT(hessian, p.i, p.j) = ridders(mixed_difference, &p, h);
            QX_AT(hessian, p.j, p.i) = QX_AT(hessian, p.i, p.j);
        }
    }
    return QX_OK;
}

qx_status qx_hessian(
    qx_ctx *cx, size_t m, qx_objective *f, void *data, const double x[], qx_mat hessian)
{
    qx_status status = QX_OK;
    if (hessian.rows != m || hessian.cols != m) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "a Hessian of %zu parameters into %zu x %zu",
                       m,
                       hessian.rows,
                       hessian.cols);
    }
    QX_SCRATCH(cx, status, hessian_at(cx, m, f, data, x, hessian));
    return status;
}

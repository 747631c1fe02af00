/* model/classes_bartlett.c - how much larger than its degrees of freedom a likelihood ratio of
 * classes is on average, to the order 1 / n.
 *
 * Lawley's expansion (1956, Biometrika 43:295-303; Cordeiro & Cribari-Neto 2014, An
 * Introduction to Bartlett Correction and Bias Reduction, ch. 2): the mean of twice the
 * log-likelihood gained by a model of f parameters over the truth is f + epsilon, so that
 *
 *     E ratio = q + epsilon(all) - epsilon(hypothesis)
 *
 * and the ratio over that factor is chi-squared to the order 1 / n^2. With K^-1 the inverse
 * information, D_i the derivatives of the predictors of cell i by the parameters (the
 * predictors are linear in them), m_i its things and M_ij = D_i K^-1 D_j', epsilon is
 *
 *     sum_i  m_i  F_i[abcd] M_ii[ab] M_ii[cd]
 *   + sum_ij m_i m_j {  T_i[ace] (T_j[bdf] / 6 - U_j[bf|d]) M[ab] M[cd] M[ef]
 *                     + U_i[ac|e] U_j[bf|d]                 M[ab] M[cd] M[ef]
 *                     + t_i[a] (t_j[b] / 4 - v_j[b]) M[ab]  +  u_i[a] u_j[b] M[ab] }
 *   t_i[a] = T_i[acd] M_ii[cd],  v_j[b] = U_j[bf|e] M_jj[ef],  u_i[a] = U_i[ac|d] M_ii[cd]
 *
 * summed over equal letters, with T, U and F of class_cumulants.h. Random effects are left
 * out: what they do to a ratio is made good otherwise (findings/linearised.h). */
#include <math.h>
#include <string.h>

#include "model/class_cumulants.h"
#include "model/classes.h"
#include "model/classes_inner.h"
#include "numeric/chol.h"

/* Work (numbers multiplied) beyond which the data are so many that nothing is owed. */
static const double WORK_MOST = 2e8;
/* The expansion is one of small corrections. */
static const double FACTOR_MOST = 2.0;

typedef struct expansion {
    qx_ctx *cx;
    const qx_class_model *model;
    size_t d, cells;
    qx_class_cumulants *cell; /* cells */
    double *slope; /* cells: d x P, row by row of P: derivatives of a predictor */
} expansion;

/* Derivatives of predictor j of cell i by the P parameters. */
static double *slope_of(const expansion *e, size_t i, size_t j)
{
    return e->slope + (i * e->d + j) * e->model->P;
}

static qx_status gather(expansion *e, const double z[])
{
    const qx_class_model *model = e->model;
    double eta[QX_PREDICTORS_MOST], p[QX_PREDICTORS_MOST + 1], unit[QX_PREDICTORS_MOST];
    QX_NEW(e->cx, e->cell, e->cells);
    QX_NEW(e->cx, e->slope, e->cells * e->d * model->P);
    for (size_t i = 0; i < e->cells; i++) {
        const double *x = model->x + i * model->q;
        qx_class_predict(model, x, z, eta);
        model->rows->probability(e->d, eta, p);
        QX_TRY(qx_class_cumulants_room(e->cx, e->d, &e->cell[i]));
        QX_TRY(qx_class_cumulants_at(e->cx, model->parallel, eta, p, &e->cell[i]));
        for (size_t j = 0; j < e->d; j++) {
            memset(unit, 0, e->d * sizeof *unit);
            unit[j] = 1.0;
            qx_class_carry(model, x, unit, slope_of(e, i, j));
        }
    }
    return QX_OK;
}

/* G (cells d x f): derivatives of the predictors by the coordinates of the basis. */
static qx_status along(const expansion *e, qx_mat basis, qx_mat *out)
{
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), e->cells * e->d, basis.cols, out));
    for (size_t r = 0; r < out->rows; r++) {
        for (size_t c = 0; c < basis.cols; c++) {
            QX_AT(*out, r, c) =
                qx_dot(basis.rows, e->slope + r * basis.rows, &QX_AT(basis, 0, c));
        }
    }
    return QX_OK;
}

/* M = G K^-1 G', all cells; false where the information is not positive definite. */
static qx_status leverages(const expansion *e, qx_mat G, qx_mat *out, bool *done)
{
    const size_t d = e->d, f = G.cols;
    qx_mat JG, K, inverse, half;
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), G.rows, f, &JG));
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), f, f, &K));
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), f, f, &inverse));
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), G.rows, f, &half));
    QX_TRY(qx_mat_new(e->cx, qx_ctx_scratch(e->cx), G.rows, G.rows, out));
    for (size_t i = 0; i < e->cells; i++) {
        const double *J = e->cell[i].information;
        for (size_t c = 0; c < f; c++) {
            for (size_t a = 0; a < d; a++) {
                for (size_t b = 0; b < d; b++) {
                    QX_AT(JG, i * d + a, c) +=
                        e->model->total[i] * J[a + d * b] * QX_AT(G, i * d + b, c);
                }
            }
        }
    }
    QX_TRY(qx_mat_multiply(e->cx, 't', 'n', 1.0, G, JG, 0.0, K));
    *done = qx_chol_factor(e->cx, K) == QX_OK;
    if (!*done) {
        qx_ctx_forgive(e->cx);
        return QX_OK;
    }
    QX_TRY(qx_chol_inverse(e->cx, K, inverse));
    QX_TRY(qx_mat_multiply(e->cx, 'n', 'n', 1.0, G, inverse, 0.0, half));
    return qx_mat_multiply(e->cx, 'n', 't', 1.0, half, G, 0.0, *out);
}

/* ---- the terms of one cell ------------------------------------------------------------- */

static double own_term(const qx_class_cumulants *at, qx_mat M)
{
    const size_t d = at->d;
    double sum = 0.0;
    for (size_t i = 0; i < d * d * d * d; i++) {
        sum += at->fourth[i] * QX_AT(M, i % d, i / d % d) *
               QX_AT(M, i / (d * d) % d, i / (d * d * d));
    }
    return sum;
}

/* Contractions of the last two indices of T and U with the cell's own M (d each). */
static void
contract(const qx_class_cumulants *at, qx_mat M, double third[], double turn[])
{
    const size_t d = at->d;
    for (size_t i = 0; i < d * d * d; i++) {
        const size_t a = i % d, b = i / d % d, c = i / (d * d);
        third[a] += at->third[i] * QX_AT(M, b, c);
        turn[a] += at->turn[i] * QX_AT(M, b, c);
    }
}

/* ---- the terms of two cells ------------------------------------------------------------ */

/* out[ace] = sum over b, d, f of from[bdf] M[ab] M[cd] M[ef], an index at a time. */
static void carry(size_t d, qx_mat M, const double from[], double spare[], double out[])
{
    const size_t dd = d * d;
    const double *now = from;
    for (size_t round = 0; round < 3; round++) {
        /* The first index is carried and becomes the last: after three rounds all stand where
         * they were. */
        double *to = round == 1 ? spare : out;
        for (size_t rest = 0; rest < dd; rest++) {
            for (size_t a = 0; a < d; a++) {
                double sum = 0.0;
                for (size_t b = 0; b < d; b++) {
                    sum += QX_AT(M, a, b) * now[b + d * rest];
                }
                to[rest + dd * a] = sum;
            }
        }
        now = to;
    }
}

typedef struct pairwise {
    double *mixed; /* d^3: T_j[bdf] / 6 - U_j[bf|d] */
    double *flip;  /* d^3: U_j[bf|d] by b, d, f */
    double *spare, *carried;
} pairwise;

static double two_cells(const expansion *e, size_t i, size_t j, qx_mat M, pairwise *w)
{
    const size_t d = e->d, dd = d * d;
    const qx_class_cumulants *from = &e->cell[i], *to = &e->cell[j];
    double sum = 0.0;
    for (size_t at = 0; at < dd * d; at++) {
        const size_t b = at % d, c = at / d % d, f = at / dd;
        w->flip[at] = to->turn[b + d * f + dd * c];
        w->mixed[at] = to->third[at] / 6.0 - w->flip[at];
    }
    carry(d, M, w->mixed, w->spare, w->carried);
    for (size_t at = 0; at < dd * d; at++) {
        sum += from->third[at] * w->carried[at];
    }
    /* U_i[ac|e] stands by a, c, e as it is. */
    carry(d, M, w->flip, w->spare, w->carried);
    for (size_t at = 0; at < dd * d; at++) {
        sum += from->turn[at] * w->carried[at];
    }
    return sum;
}

static qx_status sum_up(const expansion *e, qx_mat M, double *out)
{
    const size_t d = e->d;
    double *third, *turn;
    pairwise w;
    QX_NEW(e->cx, third, e->cells * d);
    QX_NEW(e->cx, turn, e->cells * d);
    QX_NEW(e->cx, w.mixed, d * d * d);
    QX_NEW(e->cx, w.flip, d * d * d);
    QX_NEW(e->cx, w.spare, d * d * d);
    QX_NEW(e->cx, w.carried, d * d * d);
    *out = 0.0;
    for (size_t i = 0; i < e->cells; i++) {
        const qx_mat own = qx_mat_part(M, i * d, i * d, d, d);
        *out += e->model->total[i] * own_term(&e->cell[i], own);
        contract(&e->cell[i], own, &third[i * d], &turn[i * d]);
    }
    for (size_t j = 0; j < e->cells; j++) {
        for (size_t i = 0; i < e->cells; i++) {
            const qx_mat at = qx_mat_part(M, i * d, j * d, d, d);
            const double things = e->model->total[i] * e->model->total[j];
            double sum = two_cells(e, i, j, at, &w);
            for (size_t b = 0; b < d; b++) {
                for (size_t a = 0; a < d; a++) {
                    const double t = third[i * d + a], u = turn[i * d + a];
                    const double tj = third[j * d + b], uj = turn[j * d + b];
                    sum += QX_AT(at, a, b) * (t * (0.25 * tj - uj) + u * uj);
                }
            }
            *out += things * sum;
        }
    }
    return QX_OK;
}

static qx_status epsilon(const expansion *e, qx_mat basis, double *out, bool *done)
{
    qx_mat G, M;
    QX_TRY(along(e, basis, &G));
    QX_TRY(leverages(e, G, &M, done));
    return *done ? sum_up(e, M, out) : QX_OK;
}

static qx_status unit_basis(qx_ctx *cx, size_t P, qx_mat *out)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), P, P, out));
    for (size_t j = 0; j < P; j++) {
        QX_AT(*out, j, j) = 1.0;
    }
    return QX_OK;
}

static qx_status bartlett(qx_ctx *cx, const qx_classes *fit, qx_mat L, double *factor)
{
    const struct qx_classes_inner *in = fit->inner;
    const qx_class_model *model = &in->model;
    expansion e = {.cx = cx, .model = model, .d = model->d, .cells = model->cells};
    qx_class_climb climb = {.model = model, .guess = &in->hessian, .held = in->held};
    qx_class_summit summit = {0};
    double *z, all = NAN, part = NAN;
    bool done = false, both = false;
    qx_mat whole;
    const double work = pow((double)e.cells, 2.0) * pow((double)e.d, 4.0);
    *factor = 1.0;
    if (work > WORK_MOST) {
        return QX_OK;
    }
    QX_TRY(qx_classes_basis(cx, qx_ctx_scratch(cx), fit, L, &climb.basis));
    QX_TRY(unit_basis(cx, model->P, &whole));
    QX_NEW(cx, z, model->P + model->D);
    QX_TRY(qx_classes_climb_from(cx, &climb, in->z, z, &summit));
    QX_TRY(gather(&e, z));
    QX_TRY(epsilon(&e, whole, &all, &done));
    QX_TRY(epsilon(&e, climb.basis, &part, &both));
    const double found = 1.0 + (all - part) / (double)(model->P - climb.basis.cols);
    if (done && both && isfinite(found)) {
        *factor = fmin(fmax(found, 1.0 / FACTOR_MOST), FACTOR_MOST);
    }
    return QX_OK;
}

qx_status qx_classes_bartlett(qx_ctx *cx, const qx_classes *fit, qx_mat L, double *factor)
{
    qx_status status;
    double found = 1.0;
    QX_SCRATCH(cx, status, bartlett(cx, fit, L, &found));
    if (status == QX_OK) {
        *factor = found;
    }
    return status;
}

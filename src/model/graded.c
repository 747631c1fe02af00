#include "model/graded.h"

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "numeric/chol.h"
#include "numeric/qr.h"

/* Where y'Py is a smaller share of r'r, or a ratio of variances larger, five of sixteen
 * digits are gone. */
static const double SHARE_LEAST = 1e-5;
static const double GAMMA_PLAIN = 1e5;
/* Multiplications of the QR of [Z X] and of one point that are paid for it. */
static const double MAKING_MOST = 4e9;
static const double POINT_MOST = 2e9;
/* Residuals of a response of size 1 whose root mean square is below this are rounding: a few
 * hundred operations of 1e-16 each. */
static const double ROUNDING = 4e-15;
/* A term is put before another when its units differ this many times more. */
static const double MUCH_MORE = 100.0;
/* Least ratio a search begins with, for units that seem to differ less than they must. */
static const double START_LEAST = 0.01;

bool qx_graded_fits(const qx_profile *f)
{
    const double width = (double)(f->q + f->p);
    return (double)f->n * width * width <= MAKING_MOST &&
           width * width * width <= POINT_MOST;
}

bool qx_graded_steep(const qx_profile *f, const double gamma[])
{
    bool steep = false;
    for (size_t k = 0; k < f->m; k++) {
        steep = steep || !(gamma[k] < GAMMA_PLAIN);
    }
    return steep;
}

bool qx_graded_wanted(const qx_profile *f, const qx_profile_point *at)
{
    return f->m > 0 && qx_graded_fits(f) &&
           (!(at->ypy > SHARE_LEAST * f->rr) || qx_graded_steep(f, at->gamma));
}

/* --- the making --- */

typedef struct making {
    const qx_graded_of *of;
    const qx_profile *f;
    size_t *order;  /* m: terms, those that vary most first */
    size_t *first;  /* m: column of the QR where a term begins */
    qx_qr qr;       /* of [Z X] */
    double *turned; /* n: U'r */
} making;

/* Mean square of the units' means of r, each weighed by its rows. */
static qx_status variation(qx_ctx *cx, const making *w, size_t k, double *out)
{
    const size_t levels = w->f->start[k + 1] - w->f->start[k];
    double *sum, *count;
    QX_NEW(cx, sum, levels);
    QX_NEW(cx, count, levels);
    for (size_t i = 0; i < w->f->n; i++) {
        sum[w->of->code[k][i]] += w->of->r[i];
        count[w->of->code[k][i]] += 1.0;
    }
    *out = 0.0;
    for (size_t l = 0; l < levels; l++) {
        *out += count[l] > 0.0 ? sum[l] * sum[l] / count[l] / (double)levels : 0.0;
    }
    return QX_OK;
}

/* Terms in their own order (large units first), but one that varies much more goes ahead. */
static qx_status arrange(qx_ctx *cx, making *w)
{
    const size_t m = w->f->m;
    double *square;
    size_t column = 0;
    QX_NEW(cx, square, m);
    QX_NEW(cx, w->order, m);
    QX_NEW(cx, w->first, m);
    for (size_t k = 0; k < m; k++) {
        size_t at = k;
        QX_TRY(variation(cx, w, k, &square[k]));
        while (at > 0 && square[k] > MUCH_MORE * square[w->order[at - 1]]) {
            w->order[at] = w->order[at - 1];
            at--;
        }
        w->order[at] = k;
    }
    for (size_t a = 0; a < m; a++) {
        const size_t k = w->order[a];
        w->first[k] = column;
        column += w->f->start[k + 1] - w->f->start[k];
    }
    return QX_OK;
}

/* [Z X] in the order of the terms, and its QR; r turned. */
static qx_status turn(qx_ctx *cx, making *w)
{
    const qx_profile *f = w->f;
    qx_mat whole;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->n, f->q + f->p, &whole));
    QX_NEW(cx, w->turned, f->n);
    for (size_t k = 0; k < f->m; k++) {
        for (size_t i = 0; i < f->n; i++) {
            QX_AT(whole, i, w->first[k] + w->of->code[k][i]) = 1.0;
        }
    }
    for (size_t j = 0; j < f->p; j++) {
        for (size_t i = 0; i < f->n; i++) {
            QX_AT(whole, i, f->q + j) = qx_design_entry(w->of->design, i, j);
        }
    }
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), whole, &w->qr));
    memcpy(w->turned, w->of->r, f->n * sizeof *w->turned);
    qx_qr_apply(&w->qr, 't', w->turned);
    return QX_OK;
}

/* Rows of Z and X in the new coordinates; columns of Z in the profile's order. */
static qx_status keep(qx_ctx *cx, qx_arena *arena, const making *w, struct qx_graded *g)
{
    const qx_profile *f = w->f;
    double *y;
    g->d = w->qr.rank;
    while (g->rank < g->d && w->qr.kept[g->rank] < f->q) {
        g->rank++;
    }
    QX_TRY(qx_mat_new(cx, arena, g->rank, f->q, &g->Z));
    QX_TRY(qx_mat_new(cx, arena, g->d, f->p, &g->X));
    QX_NEW_IN(cx, arena, y, g->d);
    for (size_t k = 0; k < f->m; k++) {
        for (size_t l = 0; l < f->start[k + 1] - f->start[k]; l++) {
            for (size_t i = 0; i < g->rank; i++) {
                QX_AT(g->Z, i, f->start[k] + l) = QX_AT(w->qr.R, i, w->first[k] + l);
            }
        }
    }
    for (size_t j = 0; j < f->p; j++) {
        for (size_t i = 0; i < g->d; i++) {
            QX_AT(g->X, i, j) = QX_AT(w->qr.R, i, f->q + j);
        }
    }
    memcpy(y, w->turned, g->d * sizeof *y);
    g->y = y;
    for (size_t i = g->d; i < f->n; i++) {
        g->rest += w->turned[i] * w->turned[i];
    }
    return QX_OK;
}

/* Ratios by mean squares in the coordinates that each term adds to those before it. */
static void begin(const making *w, struct qx_graded *g)
{
    const qx_profile *f = w->f;
    double left = f->n > g->d ? g->rest / (double)(f->n - g->d) : 0.0;
    size_t row = 0;
    left = fmax(left, ROUNDING * ROUNDING);
    for (size_t a = 0; a < f->m; a++) {
        const size_t k = w->order[a];
        const size_t levels = f->start[k + 1] - f->start[k];
        const size_t before = row;
        double square = 0.0, length = 0.0;
        for (; row < g->rank && w->qr.kept[row] < w->first[k] + levels; row++) {
            square += g->y[row] * g->y[row];
            for (size_t l = 0; l < levels; l++) {
                const double z = QX_AT(g->Z, row, f->start[k] + l);
                length += z * z;
            }
        }
        const double rows = (double)(row - before);
        g->start[k] =
            row > before ? fmax(square / rows / left - 1.0, START_LEAST) / (length / rows)
                         : 1.0;
    }
}

bool qx_graded_exhausted(const qx_profile *f)
{
    const double df = (double)(f->n - f->graded->d);
    return df > 0.0 && f->graded->rest <= df * ROUNDING * ROUNDING;
}

/* --- a point --- */

qx_status qx_graded_room_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_profile *f,
                              struct qx_graded_room **out)
{
    const struct qx_graded *g = f->graded;
    struct qx_graded_room *r;
    QX_NEW_IN(cx, arena, r, 1);
    QX_NEW_IN(cx, arena, r->ys, g->d);
    QX_TRY(qx_mat_new(cx, arena, g->rank, g->rank, &r->L));
    QX_TRY(qx_mat_new(cx, arena, g->d, f->q, &r->Zs));
    QX_TRY(qx_mat_new(cx, arena, f->p, f->p, &r->R));
    *out = r;
    return QX_OK;
}

static qx_mat term_of(const qx_profile *f, qx_mat a, size_t k)
{
    return qx_mat_part(a, 0, f->start[k], a.rows, f->start[k + 1] - f->start[k]);
}

/* L, R* and y* turned by H; `qr` is that of X*. */
static qx_status whiten(qx_ctx *cx, const qx_profile *f, qx_profile_point *at, qx_qr *qr)
{
    const struct qx_graded *g = f->graded;
    struct qx_graded_room *r = at->graded;
    qx_mat Xs;
    double log_r = 0.0;
    qx_mat_zero(r->L);
    for (size_t i = 0; i < g->rank; i++) {
        QX_AT(r->L, i, i) = 1.0;
    }
    for (size_t k = 0; k < f->m; k++) {
        const qx_mat Z = term_of(f, g->Z, k);
        QX_TRY(qx_mat_multiply(cx, 'n', 't', at->gamma[k], Z, Z, 1.0, r->L));
    }
    QX_TRY(qx_chol_factor(cx, r->L));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), g->d, f->p, &Xs));
    qx_mat_copy(Xs, g->X);
    memcpy(r->ys, g->y, g->d * sizeof *r->ys);
    QX_TRY(qx_chol_solve_lower(cx, 'n', r->L, qx_mat_part(Xs, 0, 0, g->rank, f->p)));
    QX_TRY(qx_chol_solve_lower(cx, 'n', r->L, qx_mat_of(r->ys, g->rank, 1)));
    QX_TRY(qx_qr_factor(cx, qx_ctx_scratch(cx), Xs, qr));
    if (qr->rank < f->p) {
        return qx_fail(cx, QX_E_NUMERIC, "the fixed columns are lost beside the units");
    }
    qx_qr_apply(qr, 't', r->ys);
    qx_mat_copy(r->R, qr->R);
    for (size_t j = 0; j < f->p; j++) {
        log_r += log(fabs(QX_AT(r->R, j, j)));
    }
    at->log_a = qx_chol_logdet(r->L) + 2.0 * (log_r - g->log_x);
    at->ypy = g->rest + qx_dot(g->d - f->p, r->ys + f->p, r->ys + f->p);
    return QX_OK;
}

static qx_status value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_qr qr;
    return whiten(cx, f, at, &qr);
}

qx_status qx_graded_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status;
    QX_SCRATCH(cx, status, value(cx, f, at));
    return status;
}

static qx_status evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    const struct qx_graded *g = f->graded;
    struct qx_graded_room *r = at->graded;
    const size_t below = g->d - f->p;
    qx_qr qr;
    QX_TRY(whiten(cx, f, at, &qr));
    qx_mat_zero(r->Zs);
    const qx_mat top = qx_mat_part(r->Zs, 0, 0, g->rank, f->q);
    qx_mat_copy(top, g->Z);
    QX_TRY(qx_chol_solve_lower(cx, 'n', r->L, top));
    for (size_t j = 0; j < f->q; j++) {
        qx_qr_apply(&qr, 't', &QX_AT(r->Zs, 0, j));
    }
    qx_mat_zero(at->T);
    memset(at->w, 0, f->q * sizeof *at->w);
    if (below > 0) {
        const qx_mat E = qx_mat_part(r->Zs, f->p, 0, below, f->q);
        QX_TRY(qx_mat_crossprod(cx, E, at->T));
        qx_mat_vector('t', 1.0, E, r->ys + f->p, 0.0, at->w);
    }
    return QX_OK;
}

qx_status qx_graded_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status;
    QX_SCRATCH(cx, status, evaluate(cx, f, at));
    return status;
}

/* out := R*^-1 out (p rows). */
static void back(qx_mat R, qx_mat out)
{
    for (size_t c = 0; c < out.cols; c++) {
        for (size_t i = R.rows; i-- > 0;) {
            for (size_t j = i + 1; j < R.rows; j++) {
                QX_AT(out, i, c) -= QX_AT(R, i, j) * QX_AT(out, j, c);
            }
            QX_AT(out, i, c) /= QX_AT(R, i, i);
        }
    }
}

/* --- all of the making --- */

/* r less what X takes of it at the start of the search; twice, so that rounding of the first
 * pass goes as well. */
static qx_status refine(qx_ctx *cx, const qx_profile *f, struct qx_graded *g)
{
    qx_profile_point at = {.gamma = g->start};
    QX_TRY(qx_graded_room_make(cx, qx_ctx_scratch(cx), f, &at.graded));
    for (int pass = 0; pass < 2; pass++) {
        qx_qr qr;
        double *change = at.graded->ys;
        const qx_status status = whiten(cx, f, &at, &qr);
        if (status == QX_E_NOT_PD || status == QX_E_NUMERIC) {
            qx_ctx_forgive(cx); /* then it stays as it is */
            return QX_OK;
        }
        QX_TRY(status);
        back(at.graded->R, qx_mat_of(change, f->p, 1));
        qx_mat_vector('n', -1.0, g->X, change, 1.0, g->y);
        for (size_t j = 0; j < f->p; j++) {
            g->change[j] += change[j];
        }
    }
    return QX_OK;
}

static qx_status
make(qx_ctx *cx, qx_arena *arena, const qx_graded_of *of, struct qx_graded *g)
{
    making w = {.of = of, .f = of->profile};
    QX_TRY(arrange(cx, &w));
    QX_TRY(turn(cx, &w));
    QX_TRY(keep(cx, arena, &w, g));
    QX_NEW_IN(cx, arena, g->start, w.f->m);
    begin(&w, g);
    return QX_OK;
}

qx_status
qx_graded_make(qx_ctx *cx, qx_arena *arena, const qx_graded_of *of, qx_profile *out)
{
    struct qx_graded *g;
    qx_status status;
    if (arena == qx_ctx_scratch(cx)) {
        return qx_fail(cx, QX_E_ARG, "the graded form cannot live in the scratch");
    }
    QX_NEW_IN(cx, arena, g, 1);
    g->log_x = of->log_x;
    QX_NEW_IN(cx, arena, g->change, of->profile->p);
    QX_SCRATCH(cx, status, make(cx, arena, of, g));
    QX_TRY(status);
    *out = *of->profile;
    out->spectral = NULL;
    out->graded = g;
    QX_SCRATCH(cx, status, refine(cx, out, g));
    return status;
}

/* --- what follows from it --- */

qx_status qx_graded_kernels(
    qx_ctx *cx, const qx_profile *f, const qx_profile_point *at, qx_mat phi, qx_mat N)
{
    const struct qx_graded_room *r = at->graded;
    qx_mat half, turned;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &half));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->q, &turned));
    for (size_t j = 0; j < f->p; j++) {
        QX_AT(half, j, j) = 1.0;
    }
    back(r->R, half);
    QX_TRY(qx_mat_multiply(cx, 'n', 't', 1.0, half, half, 0.0, phi));
    qx_mat_copy(turned, qx_mat_part(r->Zs, 0, 0, f->p, f->q));
    back(r->R, turned);
    for (size_t j = 0; j < f->p; j++) {
        for (size_t k = 0; k < f->q; k++) {
            QX_AT(N, k, j) = QX_AT(turned, j, k);
        }
    }
    return QX_OK;
}

qx_status qx_graded_settle(qx_ctx *cx,
                           const qx_graded_of *of,
                           const qx_profile_point *at,
                           double change[],
                           double r[])
{
    const qx_profile *f = of->profile;
    double *fixed;
    QX_NEW(cx, fixed, f->n);
    memcpy(change, at->graded->ys, f->p * sizeof *change);
    back(at->graded->R, qx_mat_of(change, f->p, 1));
    for (size_t j = 0; j < f->p; j++) {
        change[j] += f->graded->change[j];
    }
    QX_TRY(qx_design_times(cx, of->design, change, fixed));
    for (size_t i = 0; i < f->n; i++) {
        r[i] -= fixed[i];
        for (size_t k = 0; k < f->m; k++) {
            r[i] -= at->gamma[k] * at->w[f->start[k] + of->code[k][i]];
        }
    }
    return QX_OK;
}

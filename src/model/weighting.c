#include "model/weighting.h"

#include <math.h>
#include <string.h>

#include "model/design_rows.h"
#include "numeric/chol.h"

/* Levels of one set beyond which leverages are not given: A^-1 costs their cube. */
#define SET_MOST 5000
/* Numbers of X (240 MB) beyond which neither: three matrices of that size are needed. */
#define NUMBERS_MOST 30000000U

static const qx_factor *find_factor(const qx_frame *frame, const char *name)
{
    for (size_t i = 0; i < frame->factor_count; i++) {
        if (strcmp(frame->factor[i].name, name) == 0) {
            return &frame->factor[i];
        }
    }
    return NULL;
}

/* Terms at zero drop out: W does not contain them. */
static qx_status collect(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w)
{
    const double sigma2 = fit->component[fit->component_count - 1].variance;
    struct qx_weighting_term *terms;
    QX_NEW(cx, terms, fit->random_count);
    for (size_t i = 0; i < fit->random_count; i++) {
        const qx_component *c = &fit->component[i];
        const qx_factor *f = find_factor(fit->design.frame, c->name);
        if (f == NULL) {
            return qx_fail(cx, QX_E_SHAPE, "no column for the random term %s", c->name);
        }
        if (c->variance > 0.0 && sigma2 > 0.0) {
            terms[w->count++] =
                (struct qx_weighting_term){.code = f->code,
                                           .levels = f->level_count,
                                           .at = w->q,
                                           .lambda = sqrt(c->variance / sigma2)};
            w->q += f->level_count;
        }
    }
    w->term = terms;
    return QX_OK;
}

size_t qx_weighting_place(const qx_weighting *w, size_t t, size_t i)
{
    return w->place[w->term[t].at + w->term[t].code[i]];
}

static size_t root_of(size_t parent[], size_t k)
{
    while (parent[k] != k) {
        parent[k] = parent[parent[k]];
        k = parent[k];
    }
    return k;
}

/* Which levels hang together, and a place for each, set by set; the largest set. */
static qx_status arrange(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w, size_t *largest)
{
    const size_t q = w->q;
    size_t *parent, *number, *next;
    QX_NEW(cx, parent, q);
    QX_NEW(cx, number, q);
    QX_NEW(cx, next, q);
    QX_NEW(cx, w->start, q + 1);
    QX_NEW(cx, w->place, q);
    QX_NEW(cx, w->set_of, q);
    for (size_t k = 0; k < q; k++) {
        parent[k] = k;
    }
    for (size_t i = 0; i < fit->n; i++) {
        const size_t first = root_of(parent, w->term[0].code[i]);
        for (size_t t = 1; t < w->count; t++) {
            parent[root_of(parent, w->term[t].at + w->term[t].code[i])] = first;
        }
    }
    for (size_t k = 0; k < q; k++) {
        const size_t root = root_of(parent, k);
        number[root] = number[root] == 0 ? ++w->sets : number[root];
        w->start[number[root]]++;
    }
    *largest = 0;
    for (size_t s = 0; s < w->sets; s++) {
        *largest = w->start[s + 1] > *largest ? w->start[s + 1] : *largest;
        w->start[s + 1] += w->start[s];
        next[s] = w->start[s];
    }
    for (size_t k = 0; k < q; k++) {
        const size_t set = number[root_of(parent, k)] - 1;
        w->place[k] = next[set]++;
        w->set_of[w->place[k]] = set;
    }
    return QX_OK;
}

static qx_status invert(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w)
{
    qx_mat *a;
    QX_NEW(cx, a, w->sets);
    QX_NEW(cx, w->inverse, w->sets);
    for (size_t s = 0; s < w->sets; s++) {
        const size_t size = w->start[s + 1] - w->start[s];
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), size, size, &a[s]));
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), size, size, &w->inverse[s]));
        for (size_t k = 0; k < size; k++) {
            QX_AT(a[s], k, k) = 1.0;
        }
    }
    for (size_t i = 0; i < fit->n; i++) {
        const size_t set = w->set_of[qx_weighting_place(w, 0, i)];
        for (size_t s = 0; s < w->count; s++) {
            const size_t col = qx_weighting_place(w, s, i) - w->start[set];
            for (size_t r = 0; r < w->count; r++) {
                const size_t row = qx_weighting_place(w, r, i) - w->start[set];
                QX_AT(a[set], row, col) += w->term[r].lambda * w->term[s].lambda;
            }
        }
    }
    for (size_t s = 0; s < w->sets; s++) {
        QX_TRY(qx_chol_factor(cx, a[s]));
        QX_TRY(qx_chol_inverse(cx, a[s], w->inverse[s]));
    }
    return QX_OK;
}

/* pull depends on the space of X only, so an orthonormal basis of it takes the place of X:
 * a covariate like a year loses no digits. */
static qx_status span(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w)
{
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->n, fit->p, &w->basis));
    for (size_t j = 0; j < fit->p; j++) {
        QX_TRY(qx_design_basis(cx, &fit->design, j, &QX_AT(w->basis, 0, j)));
    }
    return QX_OK;
}

/* T = X - Z L A^-1 L Z'X */
static qx_status weigh(qx_ctx *cx, const qx_lmm *fit, const qx_weighting *w, qx_mat *out)
{
    const qx_mat x = w->basis;
    qx_mat sums, solved;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->n, fit->p, out));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w->q, fit->p, &sums));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), w->q, fit->p, &solved));
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t r = 0; r < w->count; r++) {
            for (size_t i = 0; i < fit->n; i++) {
                QX_AT(sums, qx_weighting_place(w, r, i), j) +=
                    w->term[r].lambda * QX_AT(x, i, j);
            }
        }
    }
    for (size_t s = 0; s < w->sets; s++) {
        const size_t at = w->start[s];
        const size_t size = w->start[s + 1] - at;
        QX_TRY(qx_mat_multiply(cx,
                               'n',
                               'n',
                               1.0,
                               w->inverse[s],
                               qx_mat_part(sums, at, 0, size, fit->p),
                               0.0,
                               qx_mat_part(solved, at, 0, size, fit->p)));
    }
    qx_mat_copy(*out, x);
    for (size_t j = 0; j < fit->p; j++) {
        for (size_t r = 0; r < w->count; r++) {
            for (size_t i = 0; i < fit->n; i++) {
                QX_AT(*out, i, j) -=
                    w->term[r].lambda * QX_AT(solved, qx_weighting_place(w, r, i), j);
            }
        }
    }
    return QX_OK;
}

double qx_weighting_shrunk(const qx_weighting *w, size_t i, size_t j)
{
    double sum = 0.0;
    if (w->count == 0) {
        return 0.0;
    }
    const size_t set = w->set_of[qx_weighting_place(w, 0, i)];
    if (set != w->set_of[qx_weighting_place(w, 0, j)]) {
        return 0.0;
    }
    const size_t at = w->start[set];
    for (size_t s = 0; s < w->count; s++) {
        for (size_t r = 0; r < w->count; r++) {
            sum += w->term[r].lambda * w->term[s].lambda *
                   QX_AT(w->inverse[set],
                         qx_weighting_place(w, r, i) - at,
                         qx_weighting_place(w, s, j) - at);
        }
    }
    return sum;
}

double qx_weighting_pull(const qx_weighting *w, size_t i, size_t j)
{
    return qx_dot(w->p, &QX_AT(w->g, 0, i), &QX_AT(w->g, 0, j));
}

double qx_weighting_q(const qx_weighting *w, size_t i, size_t j)
{
    const double one = i == j ? 1.0 : 0.0;
    return one - qx_weighting_shrunk(w, i, j) - qx_weighting_pull(w, i, j);
}

/* g = M^-1 T' */
static qx_status whiten(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w, qx_mat t)
{
    qx_mat m;
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->p, fit->p, &m));
    QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, w->basis, t, 0.0, m));
    QX_TRY(qx_chol_factor(cx, m));
    for (size_t i = 0; i < fit->n; i++) {
        for (size_t j = 0; j < fit->p; j++) {
            QX_AT(w->g, j, i) = QX_AT(t, i, j);
        }
    }
    return qx_chol_solve_lower(cx, 'n', m, w->g);
}

static qx_status factor_all(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w)
{
    qx_mat t;
    QX_TRY(invert(cx, fit, w));
    QX_TRY(weigh(cx, fit, w, &t));
    return whiten(cx, fit, w, t);
}

static qx_status mixed(qx_ctx *cx, const qx_lmm *fit, qx_weighting *w)
{
    size_t largest = 0;
    if (fit->n > NUMBERS_MOST / fit->p) {
        w->lost = true;
        return qx_note(cx,
                       "There are too many observations to tell by how much each of them "
                       "pulls at its own fit; residuals are given.");
    }
    QX_TRY(arrange(cx, fit, w, &largest));
    if (largest > SET_MOST) {
        w->lost = true;
        return qx_note(cx,
                       "More than %d units hang together: residuals are given, but "
                       "not by how much each observation pulls at its own fit.",
                       SET_MOST);
    }
    const qx_status status = factor_all(cx, fit, w);
    w->lost = status == QX_E_NOT_PD; /* ratios so large that T is rounding only */
    if (w->lost) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

qx_status qx_weighting_make(qx_ctx *cx, const qx_lmm *fit, qx_weighting *out)
{
    *out = (qx_weighting){.n = fit->n, .p = fit->p};
    QX_TRY(collect(cx, fit, out));
    QX_TRY(span(cx, fit, out));
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), fit->p, fit->n, &out->g));
    if (out->count > 0) {
        return mixed(cx, fit, out);
    }
    for (size_t i = 0; i < fit->n; i++) {
        for (size_t j = 0; j < fit->p; j++) {
            QX_AT(out->g, j, i) = QX_AT(out->basis, i, j);
        }
    }
    return QX_OK;
}

#include "model/blocks.h"

#include <math.h>
#include <string.h>

#include "numeric/chol.h"

qx_status qx_blocks_room_make(qx_ctx *cx,
                              qx_arena *arena,
                              const qx_profile *profile,
                              struct qx_blocks_room **out)
{
    const size_t pool = profile->blocks->offset[profile->blocks->count];
    const size_t m = profile->m;
    const size_t p = profile->p;
    struct qx_blocks_room *r;
    QX_NEW_IN(cx, arena, r, 1);
    QX_NEW_IN(cx, arena, r->K, pool);
    QX_NEW_IN(cx, arena, r->B, pool);
    QX_NEW_IN(cx, arena, r->H, pool);
    QX_NEW_IN(cx, arena, r->h, profile->q);
    QX_NEW_IN(cx, arena, r->v, profile->q);
    QX_NEW_IN(cx, arena, r->e, p);
    QX_NEW_IN(cx, arena, r->d, p);
    QX_NEW_IN(cx, arena, r->M, m);
    QX_NEW_IN(cx, arena, r->S, m * m);
    QX_NEW_IN(cx, arena, r->along, m * p);
    QX_TRY(qx_mat_new(cx, arena, profile->q, p, &r->Y));
    QX_TRY(qx_mat_new(cx, arena, profile->q, p, &r->U));
    QX_TRY(qx_mat_new(cx, arena, p, p, &r->F));
    QX_TRY(qx_mat_new(cx, arena, p, p, &r->phi));
    for (size_t k = 0; k < m; k++) {
        QX_TRY(qx_mat_new(cx, arena, p, p, &r->M[k]));
        for (size_t l = 0; l < m; l++) {
            QX_TRY(qx_mat_new(cx, arena, p, p, &r->S[k + l * m]));
        }
    }
    *out = r;
    return QX_OK;
}

/* One set: its square in a pool, its rows of a q x p matrix. */
typedef struct set {
    size_t first, size;
    const size_t *column, *term;
} set;

static set set_of(const struct qx_blocks *b, size_t s)
{
    return (set){b->start[s],
                 b->start[s + 1] - b->start[s],
                 b->column + b->start[s],
                 b->term + b->start[s]};
}

static qx_mat square_of(const struct qx_blocks *b, double *pool, size_t s)
{
    const size_t size = b->start[s + 1] - b->start[s];
    return qx_mat_of(pool + b->offset[s], size, size);
}

static qx_mat rows_of(qx_mat a, const set *s)
{
    return qx_mat_part(a, s->first, 0, s->size, a.cols);
}

/* K, Y and v of one set, and what they add to F, e, y'Py and log|A|. */
static qx_status
factor_set(qx_ctx *cx, const qx_profile *f, qx_profile_point *at, size_t s)
{
    const struct qx_blocks *b = f->blocks;
    struct qx_blocks_room *room = at->blocks;
    const set c = set_of(b, s);
    const qx_mat K = square_of(b, room->K, s);
    const qx_mat Y = rows_of(room->Y, &c);
    const double *G = b->G + b->offset[s];
    double *v = room->v + c.first;
    for (size_t j = 0; j < c.size; j++) {
        const double lambda = at->lambda[c.column[j]];
        for (size_t i = 0; i < c.size; i++) {
            QX_AT(K, i, j) = at->lambda[c.column[i]] * G[i + j * c.size] * lambda;
        }
        QX_AT(K, j, j) += 1.0;
        v[j] = lambda * f->z[c.column[j]];
        for (size_t a = 0; a < f->p; a++) {
            QX_AT(Y, j, a) = lambda * QX_AT(f->C, c.column[j], a);
        }
    }
    QX_TRY(qx_chol_factor(cx, K));
    QX_TRY(qx_chol_solve_lower(cx, 'n', K, Y));
    QX_TRY(qx_chol_solve_lower(cx, 'n', K, qx_mat_of(v, c.size, 1)));
    QX_TRY(qx_mat_multiply(cx, 't', 'n', -1.0, Y, Y, 1.0, room->F));
    qx_mat_vector('t', -1.0, Y, v, 1.0, room->e);
    at->ypy -= qx_dot(c.size, v, v);
    at->log_a += qx_chol_logdet(K);
    return QX_OK;
}

qx_status qx_blocks_value(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    struct qx_blocks_room *room = at->blocks;
    at->ypy = f->rr;
    at->log_a = 0.0;
    qx_mat_zero(room->F);
    memset(room->e, 0, f->p * sizeof *room->e);
    for (size_t j = 0; j < f->p; j++) {
        QX_AT(room->F, j, j) = 1.0;
    }
    for (size_t s = 0; s < f->blocks->count; s++) {
        QX_TRY(factor_set(cx, f, at, s));
    }
    QX_TRY(qx_chol_factor(cx, room->F));
    memcpy(room->d, room->e, f->p * sizeof *room->d);
    QX_TRY(qx_chol_solve(cx, room->F, qx_mat_of(room->d, f->p, 1)));
    at->ypy -= qx_dot(f->p, room->e, room->d);
    at->log_a += qx_chol_logdet(room->F);
    return QX_OK;
}

/* Places of term t in a set: from, and how many. */
static size_t part_of(const set *c, size_t t, size_t *from)
{
    size_t first = 0;
    while (first < c->size && c->term[first] < t) {
        first++;
    }
    size_t end = first;
    while (end < c->size && c->term[end] == t) {
        end++;
    }
    *from = first;
    return end - first;
}

/* H, U and h of one set, its M and S, its share of |H_kl|^2 and tr H_kk. */
static qx_status
open_set(qx_ctx *cx, const qx_profile *f, qx_profile_point *at, size_t s, qx_mat HU)
{
    const struct qx_blocks *b = f->blocks;
    struct qx_blocks_room *room = at->blocks;
    const set c = set_of(b, s);
    const qx_mat B = square_of(b, room->B, s);
    const qx_mat H = square_of(b, room->H, s);
    const qx_mat U = rows_of(room->U, &c);
    const double *G = b->G + b->offset[s];
    double *h = room->h + c.first;
    for (size_t j = 0; j < c.size; j++) {
        for (size_t i = 0; i < c.size; i++) {
            QX_AT(B, i, j) = at->lambda[c.column[i]] * G[i + j * c.size];
            QX_AT(H, i, j) = G[i + j * c.size];
        }
        h[j] = f->z[c.column[j]];
        for (size_t a = 0; a < f->p; a++) {
            QX_AT(U, j, a) = QX_AT(f->C, c.column[j], a);
        }
    }
    QX_TRY(qx_chol_solve_lower(cx, 'n', square_of(b, room->K, s), B));
    QX_TRY(qx_mat_multiply(cx, 't', 'n', -1.0, B, B, 1.0, H));
    QX_TRY(qx_mat_multiply(cx, 't', 'n', -1.0, B, rows_of(room->Y, &c), 1.0, U));
    qx_mat_vector('t', -1.0, B, room->v + c.first, 1.0, h);
    for (size_t l = 0; l < f->m; l++) {
        size_t lf;
        const size_t ln = part_of(&c, l, &lf);
        const qx_mat Ul = qx_mat_part(U, lf, 0, ln, f->p);
        QX_TRY(qx_mat_multiply(cx, 't', 'n', 1.0, Ul, Ul, 1.0, room->M[l]));
        for (size_t k = 0; k < f->m; k++) {
            size_t kf;
            const size_t kn = part_of(&c, k, &kf);
            const qx_mat Hkl = qx_mat_part(H, kf, lf, kn, ln);
            const qx_mat product = qx_mat_part(HU, 0, 0, kn, f->p);
            QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, Hkl, Ul, 0.0, product));
            QX_TRY(qx_mat_multiply(cx,
                                   't',
                                   'n',
                                   1.0,
                                   qx_mat_part(U, kf, 0, kn, f->p),
                                   product,
                                   1.0,
                                   room->S[k + l * f->m]));
            QX_AT(at->norm, k, l) += qx_mat_inner(Hkl, Hkl);
        }
        for (size_t j = lf; j < lf + ln; j++) {
            at->trace[l] += QX_AT(H, j, j);
        }
    }
    return QX_OK;
}

/* w of one set, w_k'w_k, U_k'w_k and w_k'H_kl w_l. */
static void along_set(const qx_profile *f, qx_profile_point *at, size_t s)
{
    const struct qx_blocks *b = f->blocks;
    struct qx_blocks_room *room = at->blocks;
    const set c = set_of(b, s);
    const qx_mat H = square_of(b, room->H, s);
    const qx_mat U = rows_of(room->U, &c);
    double *w = room->h + c.first; /* h becomes w */
    qx_mat_vector('n', -1.0, U, room->d, 1.0, w);
    for (size_t j = 0; j < c.size; j++) {
        const size_t l = c.term[j];
        at->w[c.column[j]] = w[j];
        at->square[l] += w[j] * w[j];
        for (size_t a = 0; a < f->p; a++) {
            room->along[l * f->p + a] += QX_AT(U, j, a) * w[j];
        }
    }
    for (size_t j = 0; j < c.size; j++) {
        for (size_t i = 0; i < c.size; i++) {
            QX_AT(at->bilinear, c.term[i], c.term[j]) += w[i] * QX_AT(H, i, j) * w[j];
        }
    }
}

static void clear(const qx_profile *f, qx_profile_point *at)
{
    struct qx_blocks_room *room = at->blocks;
    memset(at->trace, 0, f->m * sizeof *at->trace);
    memset(at->square, 0, f->m * sizeof *at->square);
    memset(room->along, 0, f->m * f->p * sizeof *room->along);
    qx_mat_zero(at->norm);
    qx_mat_zero(at->bilinear);
    for (size_t k = 0; k < f->m; k++) {
        qx_mat_zero(room->M[k]);
        for (size_t l = 0; l < f->m; l++) {
            qx_mat_zero(room->S[k + l * f->m]);
        }
    }
}

/* What the fixed columns take away from norms, traces and bilinear forms. */
static qx_status take_away(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    struct qx_blocks_room *room = at->blocks;
    qx_mat *PM;
    double *phi_along;
    QX_NEW(cx, PM, f->m);
    QX_NEW(cx, phi_along, f->p);
    for (size_t k = 0; k < f->m; k++) {
        QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->p, f->p, &PM[k]));
        QX_TRY(qx_mat_multiply(cx, 'n', 'n', 1.0, room->phi, room->M[k], 0.0, PM[k]));
        at->trace[k] -= qx_mat_inner(room->phi, room->M[k]);
    }
    for (size_t l = 0; l < f->m; l++) {
        qx_mat_vector('n', 1.0, room->phi, room->along + l * f->p, 0.0, phi_along);
        for (size_t k = 0; k < f->m; k++) {
            double both = 0.0;
            for (size_t j = 0; j < f->p; j++) {
                for (size_t i = 0; i < f->p; i++) {
                    both += QX_AT(PM[k], i, j) * QX_AT(PM[l], j, i);
                }
            }
            QX_AT(at->norm, k, l) +=
                both - 2.0 * qx_mat_inner(room->phi, room->S[k + l * f->m]);
            QX_AT(at->bilinear, k, l) -= qx_dot(f->p, room->along + k * f->p, phi_along);
        }
    }
    return QX_OK;
}

static qx_status evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    struct qx_blocks_room *room = at->blocks;
    size_t most = 0;
    qx_mat HU;
    for (size_t s = 0; s < f->blocks->count; s++) {
        const size_t size = f->blocks->start[s + 1] - f->blocks->start[s];
        most = size > most ? size : most;
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), most, f->p, &HU));
    clear(f, at);
    QX_TRY(qx_chol_inverse(cx, room->F, room->phi));
    for (size_t s = 0; s < f->blocks->count; s++) {
        QX_TRY(open_set(cx, f, at, s, HU));
    }
    for (size_t s = 0; s < f->blocks->count; s++) {
        along_set(f, at, s);
    }
    return take_away(cx, f, at);
}

qx_status qx_blocks_evaluate(qx_ctx *cx, const qx_profile *f, qx_profile_point *at)
{
    qx_status status;
    QX_TRY(qx_blocks_value(cx, f, at));
    QX_SCRATCH(cx, status, evaluate(cx, f, at));
    return status;
}

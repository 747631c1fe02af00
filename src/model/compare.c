#include "model/compare.h"

#include <math.h>
#include <stdlib.h>

#include "numeric/dist.h"
#include "numeric/mvt.h"
#include "numeric/range_table.h"

/* Where the range of k means is computed (numeric/range_table.h). */
#define RANGE_DF_LEAST 1.0

/* Degrees of freedom of pairs in a balanced layout differ by rounding only. */
#define SAME_DF 1e-11

/* One family while it is worked on. */
typedef struct family {
    qx_adjust adjust;
    double k;           /* means */
    double alpha;       /* 1 - level */
    size_t m;           /* comparisons that can be made */
    const size_t *made; /* m: their numbers */
    qx_comparison *all;
    qx_mvt_family *joint; /* Dunnett with two comparisons or more */
    qx_range_table range; /* Tukey with three means or more */
    qx_range_tables *tables;
} family;

static bool can_be_made(const qx_comparison *c)
{
    return isfinite(c->estimate) && isfinite(c->se) && c->se > 0.0 && c->df > 0.0;
}

static double sidak_p(double p, double m)
{
    return -expm1(m * log1p(-p));
}

static double bonferroni_p(double p, double m)
{
    return fmin(1.0, m * p);
}

static double t_critical(double alpha, double df)
{
    return qx_t_q(alpha / 2.0, df, QX_UPPER);
}

static bool by_range(const family *f, double df)
{
    return f->k > 2.0 && f->k <= QX_RANGE_TABLE_MOST && df >= RANGE_DF_LEAST;
}

static double tukey_p(const family *f, const qx_comparison *c)
{
    if (by_range(f, c->df)) {
        return qx_range_table_p(&f->range, sqrt(2.0) * fabs(c->value), c->df);
    }
    return f->k > 2.0 ? sidak_p(c->p, (double)f->m) : c->p;
}

static double sidak_critical(const family *f, double df)
{
    return t_critical(-expm1(log1p(-f->alpha) / (double)f->m), df);
}

static double tukey_critical(const family *f, double df)
{
    if (by_range(f, df)) {
        return qx_range_table_q(&f->range, f->alpha, df) / sqrt(2.0);
    }
    return f->k > 2.0 ? sidak_critical(f, df) : t_critical(f->alpha, df);
}

static qx_status dunnett_p(qx_ctx *cx, const family *f, const qx_comparison *c, double *p)
{
    if (f->m == 1) {
        *p = c->p;
        return QX_OK;
    }
    return qx_mvt_family_p(cx, f->joint, c->df, fabs(c->value), p, NULL);
}

static qx_status dunnett_critical(qx_ctx *cx, const family *f, double df, double *x)
{
    if (f->m == 1) {
        *x = t_critical(f->alpha, df);
        return QX_OK;
    }
    return qx_mvt_family_q(cx, f->joint, df, f->alpha, x);
}

static int by_p(const void *a, const void *b)
{
    const double x = (*(qx_comparison *const *)a)->p;
    const double y = (*(qx_comparison *const *)b)->p;
    return (x > y) - (x < y);
}

/* Holm's p are steps: from the smallest p up, (m - rank) p and never below the one before. */
static qx_status holm(qx_ctx *cx, const family *f)
{
    qx_comparison **sorted;
    double before = 0.0;
    QX_NEW(cx, sorted, f->m);
    for (size_t i = 0; i < f->m; i++) {
        sorted[i] = &f->all[f->made[i]];
    }
    qsort(sorted, f->m, sizeof(qx_comparison *), by_p);
    for (size_t rank = 0; rank < f->m; rank++) {
        before = fmax(before, bonferroni_p(sorted[rank]->p, (double)(f->m - rank)));
        sorted[rank]->p_adjusted = before;
    }
    return QX_OK;
}

static qx_status adjust_one(qx_ctx *cx, const family *f, qx_comparison *c)
{
    switch (f->adjust) {
    case QX_ADJUST_TUKEY:
        c->p_adjusted = tukey_p(f, c);
        break;
    case QX_ADJUST_DUNNETT:
        QX_TRY(dunnett_p(cx, f, c, &c->p_adjusted));
        break;
    case QX_ADJUST_SIDAK:
        c->p_adjusted = sidak_p(c->p, (double)f->m);
        break;
    case QX_ADJUST_BONFERRONI:
        c->p_adjusted = bonferroni_p(c->p, (double)f->m);
        break;
    case QX_ADJUST_HOLM: /* needs all of them: holm() */
        return QX_OK;
    case QX_ADJUST_NONE:
        c->p_adjusted = c->p;
        break;
    }
    /* Quadrature may stray past the bounds that every method obeys by a rounding. */
    c->p_adjusted = fmin(1.0, fmax(c->p, c->p_adjusted));
    return QX_OK;
}

static qx_status critical_of(qx_ctx *cx, const family *f, double df, double *x)
{
    switch (f->adjust) {
    case QX_ADJUST_TUKEY:
        *x = tukey_critical(f, df);
        return QX_OK;
    case QX_ADJUST_DUNNETT:
        return dunnett_critical(cx, f, df, x);
    case QX_ADJUST_SIDAK:
        *x = sidak_critical(f, df);
        return QX_OK;
    case QX_ADJUST_HOLM:
    case QX_ADJUST_BONFERRONI:
        *x = t_critical(f->alpha / (double)f->m, df);
        return QX_OK;
    case QX_ADJUST_NONE:
        break;
    }
    *x = t_critical(f->alpha, df);
    return QX_OK;
}

static bool same_df(double a, double b)
{
    return a == b || fabs(a - b) <= SAME_DF * fmin(a, b);
}

/* Critical values are dear and most families have one df: the value of an earlier
 * comparison with the same df is taken over. */
static qx_status intervals(qx_ctx *cx, const family *f)
{
    for (size_t i = 0; i < f->m; i++) {
        qx_comparison *c = &f->all[f->made[i]];
        size_t same = 0;
        while (same < i && !same_df(f->all[f->made[same]].df, c->df)) {
            same++;
        }
        if (same < i) {
            c->critical = f->all[f->made[same]].critical;
        } else {
            QX_TRY(critical_of(cx, f, c->df, &c->critical));
        }
        c->lower = c->estimate - c->critical * c->se;
        c->upper = c->estimate + c->critical * c->se;
    }
    return QX_OK;
}

static qx_status start(qx_ctx *cx, size_t m, qx_comparison all[], family *f)
{
    size_t *made;
    QX_NEW(cx, made, m);
    for (size_t i = 0; i < m; i++) {
        qx_comparison *c = &all[i];
        c->value = c->p = c->p_adjusted = c->lower = c->upper = c->critical = NAN;
        if (can_be_made(c)) {
            c->value = c->estimate / c->se;
            c->p = qx_t_two_sided(c->value, c->df);
            made[f->m++] = i;
        }
    }
    f->made = made;
    f->all = all;
    return QX_OK;
}

/* The joint distribution of the comparisons that can be made. */
static qx_status join_up(qx_ctx *cx, size_t m, qx_mat correlation, family *f)
{
    qx_mat made;
    if (correlation.at == NULL || correlation.rows != m || correlation.cols != m) {
        return qx_fail(cx,
                       QX_E_SHAPE,
                       "Dunnett's test of %zu comparisons needs their correlations",
                       m);
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), f->m, f->m, &made));
    for (size_t i = 0; i < f->m; i++) {
        for (size_t j = 0; j < f->m; j++) {
            QX_AT(made, i, j) = QX_AT(correlation, f->made[i], f->made[j]);
        }
    }
    qx_arena *own = qx_arena_inside(qx_ctx_scratch(cx));
    if (own == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for Dunnett's comparisons");
    }
    return qx_mvt_family_new(cx, own, made, &f->joint);
}

/* Is there a comparison that the range is not computed for? */
static bool beyond_range(const family *f)
{
    for (size_t i = 0; i < f->m; i++) {
        if (!by_range(f, f->all[f->made[i]].df)) {
            return true;
        }
    }
    return false;
}

static qx_status start_range(qx_ctx *cx, family *f)
{
    if (beyond_range(f)) {
        QX_TRY(qx_note(cx,
                       "Tukey's comparisons need 1 degree of freedom or more and at most "
                       "%d means; beyond that Sidak's adjusted p and interval are given, "
                       "which are never too small.",
                       QX_RANGE_TABLE_MOST));
    }
    if (f->k > QX_RANGE_TABLE_MOST) {
        return QX_OK;
    }
    return f->tables != NULL
               ? qx_range_tables_get(cx, f->tables, (size_t)f->k, &f->range)
               : qx_range_table_make(cx, qx_ctx_scratch(cx), (size_t)f->k, &f->range);
}

static qx_status
compare(qx_ctx *cx, size_t m, qx_comparison all[], qx_mat correlation, family *f)
{
    QX_TRY(start(cx, m, all, f));
    if (f->m == 0) {
        return QX_OK;
    }
    if (f->adjust == QX_ADJUST_DUNNETT) {
        QX_TRY(join_up(cx, m, correlation, f));
    }
    if (f->adjust == QX_ADJUST_TUKEY && f->k > 2.0) {
        QX_TRY(start_range(cx, f));
    }
    for (size_t i = 0; i < f->m; i++) {
        QX_TRY(adjust_one(cx, f, &all[f->made[i]]));
    }
    if (f->adjust == QX_ADJUST_HOLM) {
        QX_TRY(holm(cx, f));
    }
    return intervals(cx, f);
}

qx_status
qx_compare_family(qx_ctx *cx, const qx_compare_request *request, qx_comparison family_[])
{
    qx_status status;
    if (!(request->level > 0.0 && request->level < 1.0)) {
        return qx_fail(cx, QX_E_ARG, "level must lie between 0 and 1");
    }
    if (request->adjust == QX_ADJUST_TUKEY && request->k < 2) {
        return qx_fail(
            cx, QX_E_ARG, "Tukey's comparisons need two means, not %zu", request->k);
    }
    family f = {.adjust = request->adjust,
                .k = (double)request->k,
                .alpha = 1.0 - request->level,
                .tables = request->tables};
    QX_SCRATCH(cx, status, compare(cx, request->m, family_, request->correlation, &f));
    return status;
}

qx_status qx_compare(qx_ctx *cx,
                     qx_adjust adjust,
                     size_t k,
                     double level,
                     size_t m,
                     qx_comparison family_[],
                     qx_mat correlation)
{
    const qx_compare_request request = {
        .adjust = adjust, .k = k, .level = level, .m = m, .correlation = correlation};
    return qx_compare_family(cx, &request, family_);
}

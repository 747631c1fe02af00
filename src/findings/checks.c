#include "findings/checks.h"

#include <math.h>
#include <string.h>

#include "base/array.h"
#include "findings/cells.h"
#include "findings/checks_units.h"
#include "model/refit.h"
#include "model/residual.h"
#include "numeric/dist.h"

#define RESIDUALS_LISTED 5
#define SHAPIRO_MOST     5000
#define BOX_COX_MOST     2000 /* rows, with random parts: some 40 fits */

static qx_status
push(qx_work *w, qx_array *checks, const char *name, qx_check_value v, const char *advice)
{
    qx_check_line *line = qx_array_push(checks);
    if (line == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory for the checks");
    }
    *line = (qx_check_line){.check = name,
                            .value = v.value,
                            .p = v.p,
                            .num_df = v.num_df,
                            .den_df = v.den_df,
                            .lower = NAN,
                            .upper = NAN,
                            .advice = v.p < QX_CHECK_ALPHA ? advice : NULL};
    return QX_OK;
}

/* A check that the data do not allow is left out: not an error of the analysis. */
static bool allowed(qx_work *w, qx_status status)
{
    if (status == QX_OK) {
        return true;
    }
    qx_ctx_forgive(w->cx);
    return false;
}

/* Treatment cell of each row: 0 ... count-1 over all factors in the model. */
static qx_status cell_codes(qx_work *w, uint32_t **code, size_t *count, size_t *factors)
{
    size_t factor[QX_TERM_FACTORS_MOST];
    *factors = 0;
    for (size_t t = 0; t < w->choice.term_count; t++) {
        const qx_term *term = &w->choice.term[t];
        if (qx_choice_is_treatment_term(&w->choice, t) && term->factor_count == 1) {
            factor[(*factors)++] = term->factor[0];
        }
    }
    QX_NEW(w->cx, *code, w->data.n);
    *count = qx_cells_count(w, *factors, factor);
    for (size_t i = 0; i < w->data.n; i++) {
        size_t at = 0;
        for (size_t f = 0; f < *factors; f++) {
            const qx_factor *x = &w->data.frame.factor[factor[f]];
            at = at * x->level_count + x->code[i];
        }
        (*code)[i] = (uint32_t)at;
    }
    return QX_OK;
}

/* Residuals that should all scatter alike: where seasons or dates have a covariance of their
 * own, only the standardised ones do. */
static const double *even_residuals(const qx_work *w, const qx_residuals *r)
{
    return w->spec.covariance != NULL ? r->standardised : r->raw;
}

static qx_status spread_checks(qx_work *w,
                               const qx_residuals *r,
                               size_t count,
                               const uint32_t code[],
                               qx_array *checks)
{
    qx_check_value v;
    if (allowed(w,
                qx_brown_forsythe(w->cx, r->n, even_residuals(w, r), count, code, &v))) {
        QX_TRY(
            push(w,
                 checks,
                 "brown-forsythe",
                 v,
                 "The treatments differ in how much their values scatter. Look whether "
                 "the spread grows with the mean: then analyse the logarithm or the "
                 "square root (transform), or counts and shares as such. If one "
                 "treatment alone is wild, read its interval with care."));
    }
    if (allowed(w, qx_bartlett(w->cx, r->n, even_residuals(w, r), count, code, &v))) {
        QX_TRY(push(w,
                    checks,
                    "bartlett",
                    v,
                    "Bartlett's test sees unequal spread, but it is also upset by values "
                    "that are not normal: go by brown-forsythe."));
    }
    return QX_OK;
}

/* Tests by ranks, where the layout is one that they are made for. */
static qx_status rank_checks(
    qx_work *w, size_t count, const uint32_t code[], size_t factors, qx_array *checks)
{
    qx_check_value v;
    const bool no_blocks = w->choice.random_count == 0 && w->choice.block_terms == 0;
    if (w->data.frame.number_count > 0 || factors == 0 || w->structured) {
        return QX_OK;
    }
    if (no_blocks &&
        allowed(w, qx_kruskal_wallis(w->cx, w->data.n, w->data.raw, count, code, &v))) {
        return push(w, checks, "kruskal-wallis", v, NULL);
    }
    const size_t blocks = w->choice.random_count + w->choice.block_terms;
    if (factors == 1 && blocks == 1 && w->data.unit_count == 2) {
        const qx_factor *block = &w->data.frame.factor[w->data.unit[0].factor];
        if (allowed(w,
                    qx_friedman(w->cx,
                                w->data.n,
                                w->data.raw,
                                count,
                                code,
                                block->level_count,
                                block->code,
                                &v))) {
            return push(w, checks, "friedman", v, NULL);
        }
    }
    return QX_OK;
}

/* With random parts every power is a fit of its own, in a context of its own: what it notes
 * is about a scale that nobody asked for. */
static qx_status box_cox_of(qx_work *w, qx_box_cox *b, bool *made)
{
    *made = false;
    if (w->choice.random_count == 0) {
        *made = allowed(
            w, qx_box_cox_profile(w->cx, &w->fit->design, w->data.raw, w->level, b));
        return QX_OK;
    }
    if (w->data.n > BOX_COX_MOST || w->spec.covariance != NULL) {
        return QX_OK;
    }
    qx_ctx *aside = qx_ctx_new();
    if (aside == NULL) {
        return qx_fail(w->cx, QX_E_NOMEM, "no memory to look for a scale");
    }
    const qx_status status = qx_box_cox_by_plan(
        aside, qx_lmm_plan_of(w->fit), w->data.n, w->data.raw, w->level, b);
    qx_ctx_free(aside);
    *made = status == QX_OK && !isnan(b->lambda);
    return status == QX_E_NOMEM
               ? qx_fail(w->cx, QX_E_NOMEM, "no memory to look for a scale")
               : QX_OK;
}

static qx_status box_cox_check(qx_work *w, qx_array *checks)
{
    qx_box_cox b;
    if (w->variate->transform != QX_TRANSFORM_NONE || w->structured) {
        return QX_OK;
    }
    for (size_t i = 0; i < w->data.n; i++) {
        if (!(w->data.raw[i] > 0.0)) {
            return QX_OK;
        }
    }
    bool made;
    QX_TRY(box_cox_of(w, &b, &made));
    if (!made) {
        return QX_OK;
    }
    const qx_check_value v = {b.lambda, NAN, NAN, NAN};
    QX_TRY(push(w, checks, "box-cox", v, NULL));
    qx_check_line *line = qx_array_at(checks, checks->count - 1);
    line->lower = b.lower;
    line->upper = b.upper;
    if (b.lower > 1.0 || b.upper < 1.0) {
        line->advice =
            b.lower <= 0.0 && b.upper >= 0.0
                ? "The data would be evener as logarithms (transform: log)."
            : b.lower <= 0.5 && b.upper >= 0.5
                ? "The data would be evener as square roots (transform: sqrt)."
                : "The data would be evener on another scale; the interval says "
                  "which powers fit.";
    }
    return QX_OK;
}

/* Rows by size of their externally studentised residual, the largest few. */
static qx_status largest(qx_work *w, const qx_residuals *r, size_t list[], size_t *count)
{
    *count = 0;
    for (size_t i = 0; i < r->n; i++) {
        if (!isfinite(r->studentised[i])) { /* nothing is left over there */
            continue;
        }
        size_t at = *count < RESIDUALS_LISTED ? (*count)++ : RESIDUALS_LISTED;
        while (at > 0 && fabs(r->studentised[i]) > fabs(r->studentised[list[at - 1]])) {
            if (at < RESIDUALS_LISTED) {
                list[at] = list[at - 1];
            }
            at--;
        }
        if (at < RESIDUALS_LISTED) {
            list[at] = i;
        }
    }
    qx_residual_line *line;
    QX_NEW_IN(w->cx, w->arena, line, *count);
    for (size_t k = 0; k < *count; k++) {
        const size_t i = list[k];
        line[k] = (qx_residual_line){w->data.row[i],
                                     r->studentised[i],
                                     r->standardised[i],
                                     r->cook[i],
                                     r->leverage[i]};
    }
    w->result->residual = line;
    w->result->residual_count = *count;
    return QX_OK;
}

static qx_status outlier_check(qx_work *w, const qx_residuals *r, qx_array *checks)
{
    size_t list[RESIDUALS_LISTED + 1];
    size_t count;
    QX_TRY(largest(w, r, list, &count));
    if (count == 0 || r->df == 0) {
        return QX_OK;
    }
    const double t = r->studentised[list[0]];
    const double p = (double)r->n * qx_t_two_sided(t, (double)r->df);
    const qx_check_value v = {t, p < 1.0 ? p : 1.0, NAN, (double)r->df};
    QX_TRY(push(w,
                checks,
                "outlier",
                v,
                "One value stands far from what the model expects. Look at its sheet and "
                "its tree: a slip of the pen is corrected with a reason; a true value "
                "stays, and the findings are told with and without it."));
    ((qx_check_line *)qx_array_at(checks, checks->count - 1))->row = w->data.row[list[0]];
    return QX_OK;
}

static qx_status points(qx_work *w, const qx_residuals *r)
{
    qx_point *point;
    QX_NEW_IN(w->cx, w->arena, point, w->data.n);
    for (size_t i = 0; i < w->data.n; i++) {
        point[i] = (qx_point){w->data.row[i],
                              w->data.scaled[i],
                              w->data.scaled[i] - r->raw[i],
                              r->raw[i],
                              r->studentised[i]};
    }
    w->result->point = point;
    w->result->point_count = w->data.n;
    return QX_OK;
}

/* The columns that slopes of their own would add, tested together; *made is false where
 * these data do not hold such a test. */
static qx_status slopes_test(
    qx_ctx *cx, size_t term_count, const qx_lmm *wide, qx_joint_test *test, bool *made)
{
    qx_mat L;
    size_t rows = 0;
    for (size_t j = 0; j < wide->p; j++) {
        rows += wide->design.term_of[j] != QX_NO_COLUMN &&
                        wide->design.term_of[j] >= term_count
                    ? 1
                    : 0;
    }
    *made = rows > 0;
    if (!*made) {
        return QX_OK;
    }
    QX_TRY(qx_mat_new(cx, qx_ctx_scratch(cx), rows, wide->p, &L));
    for (size_t j = 0, i = 0; j < wide->p; j++) {
        if (wide->design.term_of[j] != QX_NO_COLUMN &&
            wide->design.term_of[j] >= term_count) {
            QX_AT(L, i++, j) = 1.0;
        }
    }
    return qx_lmm_test(cx, wide, L, test);
}

/* Fits the wider model in a context of its own: what it notes is about a model that nobody
 * asked for. */
static qx_status try_slopes(qx_ctx *cx,
                            const qx_lmm_spec *spec,
                            size_t term_count,
                            qx_joint_test *test,
                            bool *made)
{
    qx_ctx *aside = qx_ctx_new();
    qx_lmm *wide = NULL;
    *made = false;
    if (aside == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory to test the slopes");
    }
    qx_status status = qx_lmm_fit(aside, spec, &wide);
    if (status == QX_OK) {
        status = slopes_test(aside, term_count, wide, test, made);
        qx_lmm_free(wide);
    }
    qx_ctx_free(aside);
    *made = *made && status == QX_OK;
    return status == QX_E_NOMEM ? qx_fail(cx, QX_E_NOMEM, "no memory to test the slopes")
                                : QX_OK;
}

/* Do the slopes of a covariate differ between treatments that share one? */
static qx_status slopes_check(qx_work *w, qx_array *checks)
{
    const size_t most = w->choice.term_count * (1 + w->data.frame.number_count);
    qx_term *term;
    size_t count = w->choice.term_count;
    if (w->data.frame.number_count == 0) {
        return QX_OK;
    }
    QX_NEW(w->cx, term, most);
    memcpy(term, w->choice.term, count * sizeof *term);
    for (size_t x = 0; x < w->data.frame.number_count; x++) {
        for (size_t t = 0; t < w->choice.term_count; t++) {
            if (!qx_choice_is_treatment_term(&w->choice, t) ||
                w->choice.term[t].factor_count != 1) {
                continue;
            }
            term[count] = w->choice.term[t];
            term[count].number = x;
            term[count].name = "own slopes";
            for (size_t s = 0; s < w->choice.term_count; s++) {
                if (w->choice.term[s].number == x &&
                    w->choice.term[s].factor_count == 1 &&
                    w->choice.term[s].factor[0] == w->choice.term[t].factor[0]) {
                    term[count].name = NULL; /* asked for already */
                }
            }
            count += term[count].name != NULL ? 1 : 0;
        }
    }
    qx_lmm_spec spec = w->spec;
    qx_joint_test test;
    bool made;
    spec.term = term;
    spec.term_count = count;
    if (count == w->choice.term_count) {
        return QX_OK;
    }
    QX_TRY(try_slopes(w->cx, &spec, w->choice.term_count, &test, &made));
    if (!made) {
        return QX_OK;
    }
    return push(
        w,
        checks,
        "slopes differ",
        (qx_check_value){test.f, test.p, test.num_df, test.den_df},
        "The covariate acts differently under different treatments: a single "
        "adjusted mean does not tell the whole story. Give each level its own slope "
        "(slopes) and compare treatments at stated values of the covariate.");
}

static qx_status all_checks(qx_work *w, qx_array *checks)
{
    qx_residuals r;
    qx_check_value v;
    uint32_t *code = NULL;
    size_t count = 0, factors = 0;
    QX_TRY(qx_residuals_make(w->cx, w->temporary, w->fit, &r));
    QX_TRY(cell_codes(w, &code, &count, &factors));
    if (w->fit->exhausted != QX_VARIES) { /* residuals are rounding */
        return factors > 0 ? rank_checks(w, count, code, factors, checks) : QX_OK;
    }
    if (r.n <= SHAPIRO_MOST &&
        allowed(w, qx_shapiro_wilk(w->cx, r.n, even_residuals(w, &r), &v))) {
        QX_TRY(push(w,
                    checks,
                    "shapiro-wilk",
                    v,
                    "The residuals are not quite normal. Means and intervals stand this "
                    "well with a few dozen trees; look at the quantile picture for long "
                    "tails or steps, and whether another scale (transform) is natural."));
    }
    if (factors > 0) {
        QX_TRY(spread_checks(w, &r, count, code, checks));
        QX_TRY(rank_checks(w, count, code, factors, checks));
    }
    QX_TRY(box_cox_check(w, checks));
    QX_TRY(slopes_check(w, checks));
    QX_TRY(outlier_check(w, &r, checks));
    QX_TRY(qx_unit_checks_of(w, checks));
    return points(w, &r);
}

qx_status qx_checks_of(qx_work *w)
{
    qx_array checks = QX_ARRAY(w->arena, sizeof(qx_check_line));
    qx_status status;
    QX_SCRATCH(w->cx, status, all_checks(w, &checks));
    w->result->check = checks.items;
    w->result->check_count = checks.count;
    return status;
}

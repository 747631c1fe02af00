#include "report/render_json.h"

#include <math.h>

#include "base/json_write.h"
#include "report/json_parts.h"

static void
write_texts(qx_json *j, const char *key, size_t count, const char *const text[])
{
    qx_json_open(j, key, '[');
    for (size_t i = 0; i < count; i++) {
        qx_json_text(j, NULL, text[i]);
    }
    qx_json_close(j, ']');
}

void qx_json_cell(qx_json *j, const char *key, const qx_cell *cell)
{
    qx_json_open(j, key, '{');
    for (size_t i = 0; i < cell->count; i++) {
        qx_json_text(j, cell->factor[i], cell->level[i]);
    }
    qx_json_close(j, '}');
}

static void write_observations(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "observations", '{');
    qx_json_whole(j, "used", (long long)r->used);
    qx_json_whole(j, "missing", (long long)r->missing);
    qx_json_close(j, '}');
}

static void write_model(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "model", '{');
    write_texts(j, "fixed", r->fixed_count, r->fixed);
    write_texts(j, "random", r->random_count, r->random);
    qx_json_text(j, "method", r->method);
    qx_json_close(j, '}');
}

/* Trial files only: which look at the data this is. */
static void write_look(qx_json *j, const qx_result *r)
{
    const qx_result_look *look = &r->look;
    if (look->planned == 0) {
        return;
    }
    qx_json_open(j, "look", '{');
    qx_json_whole(j, "number", (long long)look->number);
    qx_json_whole(j, "declared", (long long)look->declared);
    qx_json_whole(j, "things", (long long)look->things);
    qx_json_whole(j, "planned", (long long)look->planned);
    qx_json_number(j, "share", look->share);
    qx_json_number(j, "level", look->level);
    qx_json_number(j, "true_error", look->error);
    qx_json_close(j, '}');
}

static void write_fit(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "fit", '{');
    qx_json_number(j, "log_likelihood", r->log_likelihood);
    qx_json_number(j, "reml_criterion", r->reml_criterion);
    qx_json_number(j, "deviance", r->deviance);
    qx_json_number(j, "pearson_chisq", r->pearson_chisq);
    qx_json_number(j, "residual_df", r->residual_df);
    qx_json_number(j, "cv_percent", r->cv_percent);
    qx_json_bool(j, "converged", r->converged);
    qx_json_whole(j, "iterations", (long long)r->iterations);
    qx_json_close(j, '}');
}

static void write_variance(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "variance", '[');
    for (size_t i = 0; i < r->variance_count; i++) {
        const qx_variance_line *v = &r->variance[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "term", v->term);
        qx_json_number(j, "variance", v->variance);
        qx_json_number(j, "sd", v->sd);
        qx_json_number(j, "lower", v->lower);
        qx_json_number(j, "upper", v->upper);
        qx_json_number(j, "lrt", v->lrt);
        qx_json_number(j, "p", v->p);
        qx_json_number(j, "unconstrained", v->unconstrained);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_coefficients(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "coefficients", '[');
    for (size_t i = 0; i < r->coefficient_count; i++) {
        const qx_coefficient *c = &r->coefficient[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "term", c->term);
        qx_json_number(j, "estimate", c->estimate);
        qx_json_number(j, "se", c->se);
        qx_json_number(j, "df", c->df);
        qx_json_number(j, "value", c->value);
        qx_json_number(j, "p", c->p);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

/* A line without a statistic is what is left over in a stratum. */
static void write_test(qx_json *j, const qx_test_line *t)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "term", t->term);
    if (t->statistic == NULL) {
        qx_json_text(j, "unit", t->unit);
        qx_json_number(j, "num_df", t->num_df);
    } else {
        qx_json_number(j, "num_df", t->num_df);
        qx_json_number(j, "den_df", t->den_df);
        qx_json_text(j, "statistic", t->statistic);
        qx_json_number(j, "value", t->value);
        qx_json_number(j, "p", t->p);
        qx_json_text(j, "method", t->method);
        if (t->method_small_sample != NULL) {
            qx_json_number(j, "p_small_sample", t->p_small_sample);
            qx_json_text(j, "method_small_sample", t->method_small_sample);
        }
    }
    qx_json_number(j, "sum_of_squares", t->sum_of_squares);
    qx_json_number(j, "mean_square", t->mean_square);
    qx_json_close(j, '}');
}

static void write_tests(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "tests", '[');
    for (size_t i = 0; i < r->test_count; i++) {
        write_test(j, &r->test[i]);
    }
    qx_json_close(j, ']');
}

static void write_back(qx_json *j, const qx_back *back)
{
    if (isnan(back->estimate)) {
        qx_json_null(j, "back");
        return;
    }
    qx_json_open(j, "back", '{');
    qx_json_number(j, "estimate", back->estimate);
    qx_json_number(j, "lower", back->lower);
    qx_json_number(j, "upper", back->upper);
    qx_json_close(j, '}');
}

/* Same as the mean where nothing is averaged over. */
static void write_typical(qx_json *j, const qx_mean *m)
{
    if (!m->averaged) {
        qx_json_null(j, "typical");
        return;
    }
    qx_json_open(j, "typical", '{');
    qx_json_number(j, "estimate", m->typical.estimate);
    qx_json_number(j, "se", m->typical.se);
    qx_json_number(j, "lower", m->typical.lower);
    qx_json_number(j, "upper", m->typical.upper);
    qx_json_close(j, '}');
}

static void write_mean(qx_json *j, const qx_mean *m)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "term", m->term);
    qx_json_cell(j, "levels", &m->cell);
    if (m->class_ != NULL) {
        qx_json_text(j, "class", m->class_);
    }
    qx_json_number(j, "estimate", m->estimate);
    qx_json_number(j, "se", m->se);
    qx_json_number(j, "df", m->df);
    qx_json_number(j, "lower", m->lower);
    qx_json_number(j, "upper", m->upper);
    qx_json_text(j, "letters", m->letters);
    qx_json_whole(j, "n", (long long)m->n);
    qx_json_number(j, "link_estimate", m->link_estimate);
    qx_json_number(j, "link_se", m->link_se);
    write_typical(j, m);
    write_back(j, &m->back);
    qx_json_close(j, '}');
}

static void write_means(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "means", '[');
    for (size_t i = 0; i < r->mean_count; i++) {
        write_mean(j, &r->mean[i]);
    }
    qx_json_close(j, ']');
}

static void write_equivalence(qx_json *j, const qx_difference *d)
{
    qx_json_number(j, "margin", d->margin);
    qx_json_number(j, "p_lower", d->p_lower);
    qx_json_number(j, "p_upper", d->p_upper);
    qx_json_number(j, "p_equivalence", d->p_equivalence);
    qx_json_number(j, "lower_equivalence", d->lower_equivalence);
    qx_json_number(j, "upper_equivalence", d->upper_equivalence);
    qx_json_text(j, "verdict", qx_verdict_word(d->verdict));
    if (d->verdict == QX_CANNOT_TELL) {
        qx_json_text(j, "why_not", d->why_not);
        qx_json_text(j, "mend", d->mend);
    }
    qx_json_bool(j, "beyond_margin", d->beyond_margin);
    qx_json_number(j, "replicates_to_settle", d->replicates_to_settle);
}

/* What stands beside the contract's numbers where it is there. */
static void write_beside(qx_json *j, const qx_difference *d)
{
    if (d->method_small_sample != NULL) {
        qx_json_number(j, "df_small_sample", d->df_small_sample);
        qx_json_number(j, "p_small_sample", d->p_small_sample);
        qx_json_number(j, "p_adjusted_small_sample", d->p_adjusted_small_sample);
        qx_json_text(j, "method_small_sample", d->method_small_sample);
    }
    if (d->ratio.estimate > 0.0) {
        qx_json_open(j, "ratio", '{');
        qx_json_number(j, "estimate", d->ratio.estimate);
        qx_json_number(j, "lower", d->ratio.lower);
        qx_json_number(j, "upper", d->ratio.upper);
        qx_json_close(j, '}');
    }
}

static void write_difference(qx_json *j, const qx_difference *d, bool simple)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "term", d->term);
    if (simple) {
        qx_json_cell(j, "within", &d->within);
    }
    qx_json_cell(j, "first", &d->first);
    qx_json_cell(j, "second", &d->second);
    if (d->class_ != NULL) {
        qx_json_text(j, "class", d->class_);
    }
    qx_json_number(j, "estimate", d->estimate);
    qx_json_number(j, "se", d->se);
    qx_json_number(j, "df", d->df);
    qx_json_number(j, "value", d->value);
    qx_json_number(j, "p", d->p);
    qx_json_number(j, "p_adjusted", d->p_adjusted);
    qx_json_text(j, "adjust", d->adjust);
    qx_json_number(j, "lower", d->lower);
    qx_json_number(j, "upper", d->upper);
    qx_json_number(j, "link_estimate", d->link_estimate);
    qx_json_number(j, "link_se", d->link_se);
    write_equivalence(j, d);
    write_beside(j, d);
    qx_json_close(j, '}');
}

void qx_json_differences(
    qx_json *j, const char *key, size_t count, const qx_difference list[], bool simple)
{
    qx_json_open(j, key, '[');
    for (size_t i = 0; i < count; i++) {
        write_difference(j, &list[i], simple);
    }
    qx_json_close(j, ']');
}

static void write_contrasts(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "contrasts", '[');
    for (size_t i = 0; i < r->contrast_count; i++) {
        const qx_contrast_line *c = &r->contrast[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "name", c->name);
        qx_json_number(j, "estimate", c->estimate);
        qx_json_number(j, "se", c->se);
        qx_json_number(j, "df", c->df);
        qx_json_number(j, "value", c->value);
        qx_json_number(j, "p", c->p);
        qx_json_number(j, "p_adjusted", c->p_adjusted);
        qx_json_text(j, "scale", r->link);
        qx_json_number(j, "lower", c->lower);
        qx_json_number(j, "upper", c->upper);
        qx_json_number(j, "margin", c->margin);
        qx_json_text(j, "verdict", qx_verdict_word(c->verdict));
        if (c->df_small_sample > 0.0) {
            qx_json_number(j, "df_small_sample", c->df_small_sample);
            qx_json_number(j, "p_small_sample", c->p_small_sample);
        }
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_checks(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "checks", '[');
    for (size_t i = 0; i < r->check_count; i++) {
        const qx_check_line *c = &r->check[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "check", c->check);
        if (c->row > 0) {
            qx_json_whole(j, "row", (long long)c->row);
        }
        if (c->stratum != NULL) {
            qx_json_text(j, "stratum", c->stratum);
        }
        if (c->unit != NULL) {
            qx_json_text(j, "unit", c->unit);
        }
        qx_json_number(j, "value", c->value);
        if (!isnan(c->lower) || !isnan(c->upper)) {
            qx_json_number(j, "lower", c->lower);
            qx_json_number(j, "upper", c->upper);
        }
        qx_json_number(j, "p", c->p);
        qx_json_number(j, "num_df", c->num_df);
        qx_json_number(j, "den_df", c->den_df);
        qx_json_text(j, "advice", c->advice);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_units(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "unit_residuals", '[');
    for (size_t i = 0; i < r->unit_line_count; i++) {
        const qx_unit_line *u = &r->unit_line[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "stratum", u->stratum);
        qx_json_text(j, "unit", u->unit);
        qx_json_number(j, "studentised", u->studentised);
        qx_json_number(j, "standardised", u->standardised);
        qx_json_number(j, "cook", u->cook);
        qx_json_number(j, "leverage", u->leverage);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_residuals(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "residuals", '[');
    for (size_t i = 0; i < r->residual_count; i++) {
        const qx_residual_line *e = &r->residual[i];
        qx_json_open(j, NULL, '{');
        qx_json_whole(j, "row", (long long)e->row);
        qx_json_number(j, "studentised", e->studentised);
        qx_json_number(j, "standardised", e->standardised);
        qx_json_number(j, "cook", e->cook);
        qx_json_number(j, "leverage", e->leverage);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_result(qx_json *j, const qx_result *r)
{
    qx_json_open(j, NULL, '{');
    qx_json_text(j, "variate", r->variate);
    qx_json_text(j, "kind", r->kind);
    qx_json_text(j, "family", r->family);
    qx_json_text(j, "link", r->link);
    write_observations(j, r);
    write_model(j, r);
    write_look(j, r);
    write_fit(j, r);
    write_variance(j, r);
    qx_json_covariance(j, r);
    qx_json_number(j, "dispersion", r->dispersion);
    write_coefficients(j, r);
    write_tests(j, r);
    write_means(j, r);
    qx_json_differences(j, "differences", r->difference_count, r->difference, false);
    qx_json_differences(j, "simple_effects", r->simple_count, r->simple, true);
    if (r->against_count > 0) {
        qx_json_differences(
            j, "control_against_rest", r->against_count, r->against, false);
    }
    write_contrasts(j, r);
    write_checks(j, r);
    write_residuals(j, r);
    write_units(j, r);
    qx_json_classical(j, r->classical);
    qx_json_dose(j, r->dose_count, r->dose);
    qx_json_covariates(j, r);
    write_texts(j, "notes", r->note_count, r->note);
    qx_json_close(j, '}');
}

/* Scratch is not rewound here: `out` may itself be growing in it. */
qx_status qx_render_json(qx_ctx *cx, const qx_findings *findings, qx_text *out)
{
    qx_json *j = qx_json_new(qx_ctx_scratch(cx), out);
    if (j == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a JSON document");
    }
    qx_json_open(j, NULL, '{');
    qx_json_whole(j, "quincunx", 1);
    qx_json_text(j, "title", findings->protocol->title);
    if (findings->change_count > 0) {
        write_texts(j, "changes", findings->change_count, findings->change);
    }
    if (findings->by_hand_count > 0) {
        write_texts(j, "changed_by_hand", findings->by_hand_count, findings->by_hand);
    }
    qx_json_open(j, "results", '[');
    for (size_t i = 0; i < findings->result_count; i++) {
        write_result(j, &findings->result[i]);
    }
    qx_json_close(j, ']');
    qx_json_close(j, '}');
    if (qx_text_failed(out)) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for a JSON document");
    }
    return QX_OK;
}

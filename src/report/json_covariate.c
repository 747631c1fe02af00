/* report/json_covariate.c - covariates in JSON: an additional key of a result. */
#include "report/json_parts.h"

static void write_slope(qx_json *j, const qx_slope_line *s)
{
    qx_json_open(j, NULL, '{');
    qx_json_cell(j, "levels", &s->cell);
    qx_json_number(j, "estimate", s->estimate);
    qx_json_number(j, "se", s->se);
    qx_json_number(j, "df", s->df);
    qx_json_number(j, "lower", s->lower);
    qx_json_number(j, "upper", s->upper);
    qx_json_number(j, "p", s->p);
    qx_json_close(j, '}');
}

void qx_json_covariates(qx_json *j, const qx_result *r)
{
    if (r->covariate_count == 0) {
        return;
    }
    qx_json_open(j, "covariates", '[');
    for (size_t i = 0; i < r->covariate_count; i++) {
        const qx_covariate_line *c = &r->covariate[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "name", c->name);
        qx_json_number(j, "held_at", c->held);
        qx_json_number(j, "low", c->low);
        qx_json_number(j, "high", c->high);
        qx_json_open(j, "slopes", '[');
        for (size_t k = 0; k < c->slope_count; k++) {
            write_slope(j, &c->slope[k]);
        }
        qx_json_close(j, ']');
        qx_json_differences(j, "differences_at_low", c->end_count, c->at_low, false);
        qx_json_differences(j, "differences_at_high", c->end_count, c->at_high, false);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

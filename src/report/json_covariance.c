/* report/json_covariance.c - likeness of neighbouring dates and places, and how the field
 * trend was chosen. */
#include "report/json_parts.h"

static void write_correlations(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "correlation", '[');
    for (size_t i = 0; i < r->correlation_count; i++) {
        const qx_correlation_line *c = &r->correlation[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "name", c->name);
        qx_json_number(j, "estimate", c->estimate);
        qx_json_number(j, "lower", c->lower);
        qx_json_number(j, "upper", c->upper);
        qx_json_bool(j, "one_piece", !c->broken);
        qx_json_number(j, "lrt", c->lrt);
        qx_json_number(j, "p", c->p);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_field(qx_json *j, const qx_result *r)
{
    qx_json_open(j, "field_trend", '[');
    for (size_t i = 0; i < r->field_count; i++) {
        const qx_field_line *line = &r->field[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "trend", line->trend);
        qx_json_number(j, "reml_criterion", line->reml_criterion);
        qx_json_whole(j, "parameters", (long long)line->parameters);
        qx_json_bool(j, "chosen", line->chosen);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

void qx_json_covariance(qx_json *j, const qx_result *r)
{
    if (r->correlation_count > 0) {
        write_correlations(j, r);
    }
    if (r->field_count > 0) {
        write_field(j, r);
    }
}

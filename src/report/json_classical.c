/* report/json_classical.c - the classical table in JSON: additional keys of a result. */
#include "report/json_parts.h"

static void write_lines(qx_json *j, const qx_classical *c)
{
    qx_json_open(j, "table", '[');
    for (size_t i = 0; i < c->line_count; i++) {
        const qx_classical_line *line = &c->line[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "unit", line->unit);
        qx_json_text(j, "source", line->source);
        qx_json_number(j, "df", line->df);
        qx_json_number(j, "sum_of_squares", line->sum_of_squares);
        qx_json_number(j, "mean_square", line->mean_square);
        qx_json_text(j, "expected_mean_square", line->expected);
        qx_json_number(j, "error_df", line->error_df);
        qx_json_number(j, "f", line->f);
        qx_json_number(j, "p", line->p);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_components(qx_json *j, const qx_classical *c)
{
    qx_json_open(j, "variance", '[');
    for (size_t i = 0; i < c->component_count; i++) {
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "term", c->component[i].term);
        qx_json_number(j, "variance", c->component[i].variance);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

static void write_efficiency(qx_json *j, const qx_classical *c)
{
    qx_json_open(j, "relative_efficiency", '[');
    for (size_t i = 0; i < c->efficiency_count; i++) {
        const qx_efficiency_line *e = &c->efficiency[i];
        qx_json_open(j, NULL, '{');
        qx_json_text(j, "of", e->of);
        qx_json_text(j, "without", e->without);
        qx_json_bool(j, "split", e->split);
        qx_json_number(j, "relative", e->relative);
        qx_json_number(j, "corrected", e->corrected);
        qx_json_number(j, "df_with", e->df_with);
        qx_json_number(j, "df_without", e->df_without);
        qx_json_close(j, '}');
    }
    qx_json_close(j, ']');
}

void qx_json_classical(qx_json *j, const qx_classical *c)
{
    if (c == NULL) {
        qx_json_null(j, "classical");
        return;
    }
    qx_json_open(j, "classical", '{');
    qx_json_text(j, "why_not", c->why);
    write_lines(j, c);
    write_components(j, c);
    write_efficiency(j, c);
    qx_json_close(j, '}');
}

#include "report/parts.h"

#include <math.h>
#include <string.h>

#include "findings/transform.h"

size_t qx_term_factors(const char *term)
{
    size_t count = 1;
    for (; *term != '\0'; term++) {
        count += *term == ':' ? 1 : 0;
    }
    return count;
}

bool qx_term_has(const char *term, const char *factor)
{
    const size_t length = strlen(factor);
    while (term != NULL) {
        const char *end = strchr(term, ':');
        const size_t here = end == NULL ? strlen(term) : (size_t)(end - term);
        if (here == length && memcmp(term, factor, length) == 0) {
            return true;
        }
        term = end == NULL ? NULL : end + 1;
    }
    return false;
}

const char *qx_term_part(const char *term)
{
    const size_t all = strlen(term), suffix = strlen(QX_PART_SUFFIX);
    if (strcmp(term, QX_ADDED_CONTROL) == 0) {
        return " (" QX_ADDED_CONTROL ")";
    }
    return all > suffix && strcmp(term + all - suffix, QX_PART_SUFFIX) == 0
               ? QX_PART_SUFFIX
               : "";
}

const qx_test_line *qx_result_test(const qx_result *r, const char *term)
{
    for (size_t i = 0; i < r->test_count; i++) {
        if (r->test[i].statistic != NULL && strcmp(r->test[i].term, term) == 0) {
            return &r->test[i];
        }
    }
    return NULL;
}

double qx_test_p(const qx_test_line *test)
{
    return test->method_small_sample != NULL ? test->p_small_sample : test->p;
}

const qx_test_line *
qx_result_interaction(const qx_result *r, const char *factor, double alpha)
{
    for (size_t i = 0; i < r->test_count; i++) {
        const qx_test_line *t = &r->test[i];
        size_t first;
        if (t->statistic != NULL && qx_term_factors(t->term) > 1 &&
            qx_test_p(t) < alpha && qx_term_has(t->term, factor) &&
            qx_result_means(r, t->term, &first) > 0) {
            return t;
        }
    }
    return NULL;
}

bool qx_result_matters(const qx_findings *f, const qx_result *r, const char *term)
{
    const qx_test_line *test = qx_result_test(r, term);
    return qx_term_factors(term) == 1 ||
           (test != NULL && qx_test_p(test) < 1.0 - f->protocol->analysis.level);
}

size_t qx_result_means(const qx_result *r, const char *term, size_t *first)
{
    size_t count = 0;
    *first = 0;
    for (size_t i = 0; i < r->mean_count; i++) {
        if (strcmp(r->mean[i].term, term) == 0) {
            *first = count == 0 ? i : *first;
            count++;
        }
    }
    return count;
}

bool qx_result_known(const qx_result *r, const char *term)
{
    size_t first;
    const size_t count = qx_result_means(r, term, &first);
    bool known = false;
    for (size_t i = first; i < first + count; i++) {
        known = known || !isnan(r->mean[i].estimate);
    }
    return known;
}

const char *qx_result_term(const qx_result *r, size_t k)
{
    for (size_t i = 0; i < r->mean_count; i++) {
        if (i > 0 && strcmp(r->mean[i].term, r->mean[i - 1].term) == 0) {
            continue;
        }
        if (k-- == 0) {
            return r->mean[i].term;
        }
    }
    return NULL;
}

static bool row_has(const qx_column *column, size_t row, const char *level)
{
    double value;
    if (column->kind == QX_COLUMN_LABEL) {
        const uint32_t code = column->code[row];
        const char *text = code == QX_MISSING_CODE ? NULL : column->level[code];
        return text != NULL && qx_level_find(1, &level, text, strlen(text)) != QX_NONE;
    }
    return qx_decimal_read(level, strlen(level), '.', &value, NULL) &&
           value == column->value[row];
}

size_t qx_result_cell_of_row(
    const qx_findings *f, const qx_result *r, size_t first, size_t count, size_t row)
{
    if (f->table == NULL || row == 0 || row > f->table->rows) {
        return QX_NONE;
    }
    for (size_t c = 0; c < count; c++) {
        const qx_cell *cell = &r->mean[first + c].cell;
        bool inside = true;
        for (size_t i = 0; inside && i < cell->count; i++) {
            const qx_column *column = qx_table_find(f->table, cell->factor[i]);
            if (column == NULL && strcmp(cell->factor[i], "season") == 0) {
                column = qx_table_find(f->table, f->protocol->seasons.column);
            }
            inside = column != NULL && row_has(column, row - 1, cell->level[i]);
        }
        if (inside) {
            return c;
        }
    }
    return QX_NONE;
}

bool qx_factor_numeric(const qx_protocol *p, const char *factor)
{
    const size_t t = qx_protocol_find_treatment(p, factor);
    return t != QX_NONE && p->treatment[t].numeric && p->treatment[t].level_count > 2;
}

bool qx_result_transformed(const qx_result *r)
{
    return r->definition != NULL && r->definition->transform != QX_TRANSFORM_NONE;
}

bool qx_result_counted(const qx_result *r)
{
    const qx_variate *v = r->definition;
    return v != NULL && v->transform == QX_TRANSFORM_NONE &&
           (v->kind == QX_COUNT || v->kind == QX_PROPORTION);
}

double qx_result_scale(const qx_result *r)
{
    const bool share = qx_result_counted(r) && r->definition->kind == QX_PROPORTION;
    return share || r->class_count > 0 ? 100.0 : 1.0;
}

double qx_result_shown(const qx_result *r, double y)
{
    if (qx_result_counted(r)) {
        return qx_result_scale(r) * y;
    }
    if (r->definition == NULL || r->definition->transform == QX_TRANSFORM_NONE) {
        return y;
    }
    return qx_transform_back(r->definition->transform, y);
}

qx_back qx_mean_shown(const qx_result *r, const qx_mean *m)
{
    const double scale = qx_result_scale(r);
    if (!isnan(m->back.estimate)) {
        return m->back;
    }
    return (qx_back){scale * m->estimate, scale * m->lower, scale * m->upper};
}

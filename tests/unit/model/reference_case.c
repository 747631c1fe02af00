#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/array.h"
#include "base/decimal.h"
#include "base/file.h"
#include "base/map.h"

#include "reference_case.h"

#define FIELDS_MOST 16
#define FILE_MOST   ((size_t)4 << 20)

typedef struct row {
    const char *field[FIELDS_MOST];
} row;

struct reference_case {
    qx_ctx *cx;
    const char *name;
    row head;
    qx_array data, expected; /* row */
};

/* Splits one line in place at commas outside quotes; true unless it is empty. */
static bool split(char *line, row *out)
{
    size_t count = 0;
    bool quoted = false;
    if (line[0] == '\0') {
        return false;
    }
    out->field[count++] = line;
    for (char *c = line; *c != '\0'; c++) {
        quoted = *c == '"' ? !quoted : quoted;
        if (*c == ',' && !quoted) {
            *c = '\0';
            assert_true(count < FIELDS_MOST);
            out->field[count++] = c + 1;
        }
    }
    return true;
}

static void read_file(reference_case *c, const char *file, row *head, qx_array *rows)
{
    char path[1024];
    qx_bytes bytes;
    qx_arena *arena = qx_ctx_scratch(c->cx);
    (void)snprintf(path, sizeof path, "%s/%s/%s", REFERENCE_FOLDER, c->name, file);
    if (qx_file_read(c->cx, arena, path, FILE_MOST, &bytes) != QX_OK) {
        fail_msg("%s: %s", path, qx_ctx_message(c->cx));
    }
    char *text = qx_arena_text(arena, bytes.bytes, bytes.length);
    bool first = true;
    for (char *line = text, *next; line != NULL && *line != '\0'; line = next) {
        next = strchr(line, '\n');
        if (next != NULL) {
            *next++ = '\0';
        }
        row *out = first ? head : qx_array_push(rows);
        assert_non_null(out);
        if (!split(line, out)) {
            rows->count--;
        }
        first = false;
    }
}

reference_case *reference_open(qx_ctx *cx, const char *name)
{
    qx_arena *arena = qx_ctx_scratch(cx);
    reference_case *c = qx_arena_alloc(arena, 1, sizeof *c);
    row ignored;
    assert_non_null(c);
    c->cx = cx;
    c->name = name;
    c->data = (qx_array)QX_ARRAY(arena, sizeof(row));
    c->expected = (qx_array)QX_ARRAY(arena, sizeof(row));
    read_file(c, "data.csv", &c->head, &c->data);
    read_file(c, "expected.csv", &ignored, &c->expected);
    return c;
}

size_t reference_rows(const reference_case *c)
{
    return c->data.count;
}

static const char *cell(const reference_case *c, size_t i, const char *column)
{
    for (size_t j = 0; j < FIELDS_MOST && c->head.field[j] != NULL; j++) {
        if (strcmp(c->head.field[j], column) == 0) {
            return ((const row *)qx_array_at(&c->data, i))->field[j];
        }
    }
    fail_msg("%s: no column %s", c->name, column);
    return "";
}

static double number_of(const reference_case *c, const char *text)
{
    double value = 0.0;
    if (!qx_decimal_read(text, strlen(text), '.', &value, NULL)) {
        fail_msg("%s: %s is not a number", c->name, text);
    }
    return value;
}

const double *reference_numbers(const reference_case *c, const char *column)
{
    double *out = qx_arena_alloc(qx_ctx_scratch(c->cx), c->data.count, sizeof *out);
    assert_non_null(out);
    for (size_t i = 0; i < c->data.count; i++) {
        out[i] = number_of(c, cell(c, i, column));
    }
    return out;
}

const uint32_t *
reference_codes(const reference_case *c, const char *column, size_t *levels)
{
    uint32_t *out = qx_arena_alloc(qx_ctx_scratch(c->cx), c->data.count, sizeof *out);
    qx_map *map = qx_map_new(qx_ctx_scratch(c->cx));
    assert_non_null(out);
    assert_non_null(map);
    for (size_t i = 0; i < c->data.count; i++) {
        const char *text = cell(c, i, column);
        out[i] = (uint32_t)qx_map_add(map, text, strlen(text));
    }
    *levels = qx_map_count(map);
    return out;
}

const char *reference_level(const reference_case *c, const char *column, size_t level)
{
    size_t levels;
    const uint32_t *code = reference_codes(c, column, &levels);
    for (size_t i = 0; i < c->data.count; i++) {
        if (code[i] == level) {
            return cell(c, i, column);
        }
    }
    fail_msg("%s: %s has no level %zu", c->name, column, level);
    return "";
}

static const row *find(const reference_case *c, const char *quantity)
{
    for (size_t i = 0; i < c->expected.count; i++) {
        const row *r = qx_array_at(&c->expected, i);
        if (strcmp(r->field[0], quantity) == 0) {
            return r;
        }
    }
    return NULL;
}

static const row *get(const reference_case *c, const char *quantity)
{
    static const row nothing = {{"", "", ""}};
    const row *r = find(c, quantity);
    if (r == NULL) {
        fail_msg("%s: nothing expected for %s", c->name, quantity);
        return &nothing;
    }
    return r;
}

bool reference_has(const reference_case *c, const char *quantity)
{
    return find(c, quantity) != NULL;
}

double reference_value(const reference_case *c, const char *quantity)
{
    return number_of(c, get(c, quantity)->field[1]);
}

bool reference_agrees(const reference_case *c, const char *quantity, double got)
{
    const double want = reference_value(c, quantity);
    const char *text = get(c, quantity)->field[2];
    const double tolerance = text[0] == '\0' ? 0.0 : number_of(c, text);
    const double allowed = tolerance * (want == 0.0 ? 1.0 : fabs(want));
    const size_t length = strlen(quantity);
    const bool is_p = length > 1 && quantity[length - 1] == 'p' &&
                      (quantity[length - 2] == '.' || quantity[length - 2] == '_');
    const double gap = fabs(got - want);
    return gap <= allowed || (is_p && gap <= 1e-10);
}

void reference_assert(const reference_case *c, const char *quantity, double got)
{
    if (!reference_agrees(c, quantity, got)) {
        fail_msg("%s: %s is %.15g, expected %.15g",
                 c->name,
                 quantity,
                 got,
                 reference_value(c, quantity));
    }
}

const char *reference_text(const reference_case *c, const char *column, size_t i)
{
    return cell(c, i, column);
}

size_t reference_count(const reference_case *c)
{
    return c->expected.count;
}

const char *reference_quantity(const reference_case *c, size_t i)
{
    return ((const row *)qx_array_at(&c->expected, i))->field[0];
}

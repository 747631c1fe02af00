/* Single values, and lists of them: text, numbers, words. */
#include <math.h>
#include <string.h>

#include "base/decimal.h"
#include "base/text.h"
#include "trial/reading.h"

static bool blank(char c)
{
    return c == ' ' || c == '\t' || c == '\n';
}

const char *qx_read_text(qx_reading *r, const qx_node *node)
{
    if (node->kind != QX_NODE_SCALAR) {
        qx_reading_wrong_kind(r, node, "expected text");
        return "";
    }
    const char *text = node->text;
    while (blank(*text)) {
        text++;
    }
    size_t length = strlen(text);
    while (length > 0 && blank(text[length - 1])) {
        length--;
    }
    const char *copy = qx_arena_text(r->arena, text, length);
    if (copy == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for the protocol"));
        return "";
    }
    return copy;
}

/* `"count" is "six"` or, without a key, `"six"`, as the beginning of a sentence. */
static void complain_value(qx_reading *r, const qx_node *node, const char *expected)
{
    char value[QX_SHOWN_ROOM];
    char key[QX_SHOWN_ROOM];
    if (node->kind != QX_NODE_SCALAR) {
        qx_reading_wrong_kind(r, node, expected);
    } else if (node->key != NULL) {
        QX_COMPLAIN(r,
                    node->at,
                    expected,
                    "%s cannot be \"%s\"",
                    qx_shown(node->key, key),
                    qx_shown(node->text, value));
    } else {
        QX_COMPLAIN(r,
                    node->at,
                    expected,
                    "\"%s\" does not fit here",
                    qx_shown(node->text, value));
    }
}

double qx_read_number(
    qx_reading *r, const qx_node *node, double low, double high, const char *expected)
{
    double value = NAN;
    const bool number =
        node->kind == QX_NODE_SCALAR &&
        qx_decimal_read(node->text, strlen(node->text), '.', &value, NULL);
    if (!number || !(value >= low && value <= high)) {
        complain_value(r, node, expected);
        return NAN;
    }
    return value;
}

long qx_read_whole(
    qx_reading *r, const qx_node *node, long low, long high, long otherwise)
{
    double value = NAN;
    const bool number =
        node->kind == QX_NODE_SCALAR &&
        qx_decimal_read(node->text, strlen(node->text), '.', &value, NULL);
    if (number && value >= (double)low && value <= (double)high &&
        value == floor(value)) {
        return (long)value;
    }
    const char *expected = qx_arena_printf(
        qx_ctx_scratch(r->cx), "expected a whole number from %ld to %ld", low, high);
    if (expected == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return otherwise;
    }
    complain_value(r, node, expected);
    return otherwise;
}

bool qx_read_bool(qx_reading *r, const qx_node *node)
{
    static const char *const truths[] = {"true", "True", "TRUE"};
    static const char *const lies[] = {"false", "False", "FALSE"};
    for (size_t i = 0; node->kind == QX_NODE_SCALAR && i < QX_COUNT(truths); i++) {
        if (strcmp(node->text, truths[i]) == 0) {
            return true;
        }
        if (strcmp(node->text, lies[i]) == 0) {
            return false;
        }
    }
    complain_value(r, node, "expected true or false");
    return false;
}

size_t
qx_read_word(qx_reading *r, const qx_node *node, size_t count, const char *const words[])
{
    for (size_t i = 0; node->kind == QX_NODE_SCALAR && i < count; i++) {
        if (strcmp(node->text, words[i]) == 0) {
            return i;
        }
    }
    const char *list = qx_reading_list(r, count, words);
    const char *nearest =
        node->kind == QX_NODE_SCALAR ? qx_text_nearest(node->text, words, count) : NULL;
    const char *expected =
        nearest != NULL
            ? qx_arena_printf(
                  qx_ctx_scratch(r->cx), "expected %s (nearest: %s)", list, nearest)
            : qx_arena_printf(qx_ctx_scratch(r->cx), "expected %s", list);
    if (expected == NULL) {
        qx_reading_keep(r, qx_fail(r->cx, QX_E_NOMEM, "no memory for a message"));
        return 0;
    }
    complain_value(r, node, expected);
    return 0;
}

const qx_node *qx_read_next(const qx_node *node, const qx_node *before)
{
    if (node->kind == QX_NODE_SCALAR) {
        return before == NULL ? node : NULL;
    }
    const qx_node *child = before == NULL ? node->first : before->next;
    while (child != NULL && child->kind != QX_NODE_SCALAR) {
        child = child->next;
    }
    return child;
}

size_t
qx_read_count(qx_reading *r, const qx_node *node, size_t most, const char *expected)
{
    if (node->kind == QX_NODE_MAP) {
        qx_reading_wrong_kind(r, node, expected);
        return 0;
    }
    if (node->kind == QX_NODE_SCALAR) {
        return 1;
    }
    size_t count = 0;
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        if (child->kind == QX_NODE_SCALAR) {
            count++;
        } else {
            qx_reading_wrong_kind(r, child, expected);
        }
    }
    if (node->count == 0) {
        QX_COMPLAIN(r, node->at, expected, "the list is empty");
    }
    if (count > most) {
        QX_COMPLAIN(
            r, node->at, expected, "the list holds %zu, at most %zu fit", count, most);
        return most;
    }
    return count;
}

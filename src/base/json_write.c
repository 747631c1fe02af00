/* base/json_write.c - a stack of open brackets keeps the document well-formed whatever
 * the caller does: misuse is caught in debug builds and never gives invalid text. */
#include "base/json_write.h"

#include <stdio.h>

#include "base/array.h"
#include "base/decimal.h"

struct level {
    bool array;
    bool begun; /* has an element already */
};

struct qx_json {
    qx_text *text;
    qx_array levels; /* struct level */
    bool done;       /* the one top-level value is complete */
};

qx_json *qx_json_new(qx_arena *arena, qx_text *text)
{
    qx_json *json = qx_arena_alloc(arena, 1, sizeof *json);
    if (json != NULL) {
        json->text = text;
        json->levels = (qx_array)QX_ARRAY(arena, sizeof(struct level));
    }
    return json;
}

static struct level *top(const qx_json *json)
{
    return json->levels.count == 0 ? NULL
                                   : qx_array_at(&json->levels, json->levels.count - 1);
}

static void new_line(const qx_json *json)
{
    qx_text_add(json->text, "\n");
    for (size_t i = 0; i < json->levels.count; i++) {
        qx_text_add(json->text, "  ");
    }
}

/* Comma, line and key before a value; false when no value may stand here. */
static bool begin_value(const qx_json *json, const char *key)
{
    /* After a bracket that had no memory the levels are not what the caller thinks. */
    if (qx_text_failed(json->text)) {
        return false;
    }
    struct level *level = top(json);
    QX_ASSERT(!json->done);
    QX_ASSERT((key != NULL) == (level != NULL && !level->array));
    if (json->done) {
        return false;
    }
    if (level == NULL) {
        return true;
    }
    if (level->begun) {
        qx_text_add(json->text, ",");
    }
    level->begun = true;
    new_line(json);
    if (!level->array) {
        qx_text_json(json->text, key == NULL ? "" : key);
        qx_text_add(json->text, ": ");
    }
    return true;
}

static void end_value(qx_json *json)
{
    if (json->levels.count == 0) {
        json->done = true;
        qx_text_add(json->text, "\n");
    }
}

static void put(qx_json *json, const char *key, const char *value)
{
    if (begin_value(json, key)) {
        qx_text_add(json->text, value);
        end_value(json);
    }
}

void qx_json_open(qx_json *json, const char *key, char bracket)
{
    QX_ASSERT(bracket == '{' || bracket == '[');
    if (!begin_value(json, key)) {
        return;
    }
    struct level *level = qx_array_push(&json->levels);
    if (level == NULL) {
        qx_text_fail(json->text);
        return;
    }
    *level = (struct level){.array = bracket == '[', .begun = false};
    qx_text_add(json->text, level->array ? "[" : "{");
}

void qx_json_close(qx_json *json, char bracket)
{
    const struct level *level = top(json);
    if (level == NULL) {
        /* The opening had no memory: the text has failed already. */
        QX_ASSERT(qx_text_failed(json->text));
        return;
    }
    QX_ASSERT(qx_text_failed(json->text) || bracket == (level->array ? ']' : '}'));
    (void)bracket;
    const struct level closed = *level;
    json->levels.count--;
    if (closed.begun) {
        new_line(json);
    }
    qx_text_add(json->text, closed.array ? "]" : "}");
    end_value(json);
}

void qx_json_text(qx_json *json, const char *key, const char *value)
{
    if (value == NULL) {
        put(json, key, "null");
    } else if (begin_value(json, key)) {
        qx_text_json(json->text, value);
        end_value(json);
    }
}

void qx_json_number(qx_json *json, const char *key, double value)
{
    char room[QX_NUMBER_ROOM];
    put(json, key, qx_number_exact(value, room));
}

void qx_json_whole(qx_json *json, const char *key, long long value)
{
    char room[32];
    (void)snprintf(room, sizeof room, "%lld", value);
    put(json, key, room);
}

void qx_json_bool(qx_json *json, const char *key, bool value)
{
    put(json, key, value ? "true" : "false");
}

void qx_json_null(qx_json *json, const char *key)
{
    put(json, key, "null");
}

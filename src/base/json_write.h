/* base/json_write.h - one JSON document (RFC 8259), written in order.
 *
 *     qx_json *j = qx_json_new(text);
 *     qx_json_open(j, NULL, '{');
 *     qx_json_number(j, "estimate", 1.5);
 *     qx_json_close(j, '}');
 *
 * `key` is NULL inside an array. Numbers carry 17 significant digits; not-a-number and
 * infinities are null. Two-space indentation, containers of numbers on one line are left
 * to the reader's tool. */
#ifndef QX_BASE_JSON_WRITE_H
#define QX_BASE_JSON_WRITE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/arena.h"
#include "base/text.h"

typedef struct qx_json qx_json;

QX_API qx_json *qx_json_new(qx_arena *arena, qx_text *text); /* NULL: no memory */
QX_API void qx_json_open(qx_json *json, const char *key, char bracket);
QX_API void qx_json_close(qx_json *json, char bracket);
QX_API void
qx_json_text(qx_json *json, const char *key, const char *value); /* NULL: null */
QX_API void qx_json_number(qx_json *json, const char *key, double value);
QX_API void qx_json_whole(qx_json *json, const char *key, long long value);
QX_API void qx_json_bool(qx_json *json, const char *key, bool value);
QX_API void qx_json_null(qx_json *json, const char *key);

#endif

/* tests/unit/trial/trial_support.h - protocols and data from texts, for the tests of
 * src/trial. Needs cmocka before it. */
#ifndef QX_TESTS_TRIAL_SUPPORT_H
#define QX_TESTS_TRIAL_SUPPORT_H

#include <string.h>

#include "base/text.h"
#include "support.h"
#include "trial/check.h"
#include "trial/protocol.h"
#include "trial/read_yaml.h"
#include "trial/table.h"

/* "line:column: wrong; expected\n" for each problem. */
static inline const char *told(qx_arena *arena, const qx_problems *problems)
{
    qx_text *text = qx_text_new(arena);
    for (size_t i = 0; i < qx_problems_stored(problems); i++) {
        const qx_problem *p = qx_problems_get(problems, i);
        qx_text_printf(
            text, "%zu:%zu: %s; %s\n", p->at.line, p->at.column, p->wrong, p->expected);
    }
    return qx_text_get(text);
}

/* "note\n" for each note. */
static inline const char *noted(qx_arena *arena, const qx_problems *problems)
{
    qx_text *text = qx_text_new(arena);
    for (size_t i = 0; i < qx_problems_notes(problems); i++) {
        qx_text_printf(text, "%s\n", qx_problems_get_note(problems, i)->wrong);
    }
    return qx_text_get(text);
}

/* The protocol of a text that has no problems. */
static inline qx_protocol *protocol_of(qx_ctx *cx, qx_arena *arena, const char *text)
{
    qx_problems *problems = qx_problems_new(arena);
    qx_protocol *p = NULL;
    const qx_status status =
        qx_protocol_parse(cx, "p.yaml", text, strlen(text), problems, &p);
    assert_string_equal(told(arena, problems), "");
    assert_int_equal(status, QX_OK);
    return p;
}

/* The table of a text that has no problems. */
static inline qx_table *
table_of(qx_ctx *cx, qx_arena *arena, const qx_protocol *p, const char *text, bool layout)
{
    qx_problems *problems = qx_problems_new(arena);
    qx_table *table = NULL;
    const qx_status status =
        qx_data_parse(cx, p, "d.csv", text, strlen(text), layout, problems, &table, NULL);
    assert_string_equal(told(arena, problems), "");
    assert_int_equal(status, QX_OK);
    return table;
}

#endif

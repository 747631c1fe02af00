/* A protocol and data written in the test, analysed. */
#ifndef TEST_TRIAL_H
#define TEST_TRIAL_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "findings/analyse.h"
#include "trial/check.h"
#include "trial/read_yaml.h"

typedef struct trial {
    qx_ctx *cx;
    qx_arena *arena;
    qx_protocol *protocol;
    qx_table *table;
    qx_findings *findings;
} trial;

static inline void trial_close(trial *t)
{
    qx_findings_free(t->findings);
    qx_table_free(t->table);
    qx_protocol_free(t->protocol);
    qx_arena_free(t->arena);
    qx_ctx_free(t->cx);
}

/* Reads and analyses; fails the test when the protocol or the data have problems. */
static inline qx_status trial_open(trial *t, const char *protocol, const char *data)
{
    *t = (trial){.cx = qx_ctx_new(), .arena = qx_arena_new()};
    assert_non_null(t->cx);
    assert_non_null(t->arena);
    qx_problems *problems = qx_problems_new(t->arena);
    qx_status status = qx_protocol_parse(
        t->cx, "test.yaml", protocol, strlen(protocol), problems, &t->protocol);
    if (status == QX_OK) {
        status = qx_data_parse(t->cx,
                               t->protocol,
                               "test.csv",
                               data,
                               strlen(data),
                               false,
                               problems,
                               &t->table,
                               NULL);
    }
    for (size_t i = 0; i < qx_problems_stored(problems); i++) {
        const qx_problem *p = qx_problems_get(problems, i);
        print_error("%s:%zu:%zu: %s; %s\n",
                    p->file,
                    p->at.line,
                    p->at.column,
                    p->wrong,
                    p->expected);
    }
    assert_int_equal(status, QX_OK);
    qx_ctx_clear(t->cx);
    return qx_analyse(t->cx, t->protocol, t->table, NULL, &t->findings);
}

static inline bool has_note(const qx_result *r, const char *part)
{
    for (size_t i = 0; i < r->note_count; i++) {
        if (strstr(r->note[i], part) != NULL) {
            return true;
        }
    }
    return false;
}

/* The test of a term; the running test fails when there is none. */
static inline qx_test_line find_test(const qx_result *r, const char *term)
{
    for (size_t i = 0; i < r->test_count; i++) {
        if (strcmp(r->test[i].term, term) == 0) {
            return r->test[i];
        }
    }
    fail_msg("no test of %s", term);
    return (qx_test_line){0};
}

#endif

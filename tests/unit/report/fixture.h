/* Findings made by hand: what every report test looks at. Numbers are invented. */
#ifndef REPORT_FIXTURE_H
#define REPORT_FIXTURE_H

#include "findings/findings.h"

typedef enum {
    FIXTURE_SPLIT,   /* pinch on trees, angle on limbs, margin, all five verdicts,
                        interaction that matters, a check that stands out */
    FIXTURE_PLAIN,   /* no treatments: variance components alone */
    FIXTURE_MANY,    /* 40 levels with long names, letters beyond z, no margin */
    FIXTURE_MISSING, /* nothing was recorded */
    FIXTURE_COUNT
} fixture_kind;

typedef struct fixture {
    qx_ctx *cx;
    qx_arena *arena;
    qx_protocol *protocol;
    qx_table *table;
    struct qx_layout *layout;
    qx_findings findings;
} fixture;

/* Fails the test when something is wrong. */
void fixture_open(fixture *f, fixture_kind kind);
void fixture_close(fixture *f);

#endif

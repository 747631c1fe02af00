/* tests/unit/store/trial.h - a small trial in a folder of its own. */
#ifndef QX_TESTS_STORE_TRIAL_H
#define QX_TESTS_STORE_TRIAL_H

#include "store/observations.h"
#include "store/trial_file.h"

typedef struct trial {
    qx_ctx *cx;
    qx_arena *arena;
    char *folder;
    const char *path; /* folder/trial.qx, made */
    qx_protocol *protocol;
    qx_layout *layout;
} trial;

/* cmocka fixtures: *state is a trial: 3 blocks of 2 trees (pinch none, early) of 2 limbs,
 * shoots sampled; variates length (shoot), girth (limb), grade (tree), sets of buds (limb);
 * covariate trunk (tree); seasons 2024, 2025. */
int trial_new(void **state);
int trial_free(void **state);

/* The same with another protocol. */
int trial_new_from(void **state, const char *protocol);

/* Records a data file given as text; the receipt counts if the status is QX_OK. */
qx_status trial_record(
    trial *t, const char *name, const char *text, bool accept_good, qx_receipt *receipt);

/* Problems of the last trial_record. */
extern size_t trial_problem_count;
extern char trial_last_problem[400];

/* The newest values; the caller frees. */
qx_table *trial_table(trial *t);

/* One number of the trial file by SQL. */
long long trial_ask(trial *t, const char *sql);

#endif

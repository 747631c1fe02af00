/* trial/reading.h - what the parts of the protocol reader share (inner header).
 *
 * A section is a table of keys, each with the function that reads its value into a struct.
 * Readers never stop: they complain with a place and leave the default. References between
 * sections ("on: tree") are looked up while reading; the sections are therefore read in
 * the order units, treatments, covariates, seasons, measure, contrasts, analysis, whatever
 * their order in the file. */
#ifndef QX_TRIAL_READING_H
#define QX_TRIAL_READING_H

#include <stdbool.h>
#include <stddef.h>

#include "base/ctx.h"
#include "base/problems.h"
#include "trial/protocol.h"
#include "trial/shown.h"
#include "trial/yaml_tree.h"

typedef struct qx_reading {
    qx_ctx *cx;
    qx_arena *arena; /* the protocol's */
    qx_problems *problems;
    const char *file;
    qx_protocol *p;
    qx_status failed; /* first failure of the machine */
    /* The protocol's lists while they are written, and the nodes they came from. */
    qx_unit *unit;
    qx_treatment *treatment;
    qx_covariate *covariate;
    qx_variate *variate;
    qx_contrast_def *contrast;
    const qx_node *unit_node[QX_NAMES_MOST];
    const qx_node *treatment_node[QX_NAMES_MOST];
    const qx_node *covariate_node[QX_NAMES_MOST];
    const qx_node *variate_node[QX_NAMES_MOST];
    const qx_node *contrast_node[QX_NAMES_MOST];
    const qx_node *seasons_node;
    const qx_node *analysis_node;
} qx_reading;

typedef void qx_node_reader(qx_reading *r, const qx_node *node, void *target);

typedef enum {
    QX_KEY_MAY,   /* may be left out, but has a value where it stands */
    QX_KEY_MUST,  /* must be there */
    QX_KEY_BLANK, /* may stand without a value, as if it were left out */
} qx_key_need;

typedef struct qx_key {
    const char *name;
    qx_node_reader *read;
    qx_key_need need;
} qx_key;

/* Adds a problem; a failure to add is kept in r->failed. */
#define QX_COMPLAIN(r, at, expected, ...)                                                \
    qx_reading_keep(                                                                     \
        (r), qx_problem_add((r)->problems, (r)->file, (at), (expected), __VA_ARGS__))

void qx_reading_keep(qx_reading *r, qx_status status);

/* Zeroed memory of the protocol; NULL is kept as a failure. */
void *qx_reading_new(qx_reading *r, size_t count, size_t size);

/* Place of entry `key` of a named thing's mapping, or of its name if it has none. */
qx_place qx_reading_place(const qx_node *node, const char *key);

/* Hands each entry of a mapping to its reader; complains about keys that are not known
 * (with the nearest), missing ones, entries without a value, and about what is no mapping.
 * `what` is the part in the user's words: "a unit". */
void qx_read_keys(qx_reading *r,
                  const qx_node *map,
                  const char *what,
                  size_t key_count,
                  const qx_key keys[],
                  void *target);

/* Complains that a node is a list, a mapping or a single value where something else was
 * expected. */
void qx_reading_wrong_kind(qx_reading *r, const qx_node *node, const char *expected);

/* Scalar text without outer blanks, in the protocol's arena; "" and a complaint when the
 * node is a list or a mapping. */
const char *qx_read_text(qx_reading *r, const qx_node *node);

/* A number in [low, high]; NAN after a complaint. `expected` says what was expected. */
double qx_read_number(
    qx_reading *r, const qx_node *node, double low, double high, const char *expected);

/* A whole number in [low, high]; `otherwise` after a complaint. */
long qx_read_whole(
    qx_reading *r, const qx_node *node, long low, long high, long otherwise);

bool qx_read_bool(qx_reading *r, const qx_node *node);

/* Number of the word among `words`; 0 after a complaint that lists them. */
size_t
qx_read_word(qx_reading *r, const qx_node *node, size_t count, const char *const words[]);

/* A scalar, or a list of scalars, one after the other: see qx_read_next. Complains about
 * anything else; `most` scalars at the most. Gives their number. */
size_t
qx_read_count(qx_reading *r, const qx_node *node, size_t most, const char *expected);
const qx_node *qx_read_next(const qx_node *node, const qx_node *before);

/* Levels as texts: each once (30 and 30.0 are the same), none that means "missing", at
 * least `least`. *count is 0 after a complaint about the list as a whole. */
const char *const *
qx_read_levels(qx_reading *r, const qx_node *node, size_t least, size_t *count);

/* Scores of levels that are all numbers, else NULL. */
const double *qx_read_scores(qx_reading *r, size_t count, const char *const level[]);

/* Numbers of what `node` names; QX_NONE after a complaint with the nearest name. */
size_t qx_read_unit_name(qx_reading *r, const qx_node *node);
size_t qx_read_treatment_name(qx_reading *r, const qx_node *node);

/* Complains that `name` is unknown, with the nearest of the candidates. `what`: "unit". */
void qx_reading_unknown(qx_reading *r,
                        qx_place at,
                        const char *what,
                        const char *name,
                        size_t count,
                        const char *const candidates[]);

/* Complains when `name` cannot head a column: letters, digits, _ . - only. */
void qx_reading_check_name(qx_reading *r, qx_place at, const char *name);

/* "a, b or c" in scratch memory. */
const char *qx_reading_list(qx_reading *r, size_t count, const char *const words[]);

/* Entries of a section of named things: complains about more than QX_NAMES_MOST and gives
 * the number to read. NULL or empty sections hold 0. */
size_t qx_reading_entries(qx_reading *r, const qx_node *section, const char *what);

/* The sections. `section` may be NULL: not given. */
void qx_read_units(qx_reading *r, const qx_node *section);
void qx_read_treatments(qx_reading *r, const qx_node *section);
void qx_read_covariates(qx_reading *r, const qx_node *section);
void qx_read_seasons(qx_reading *r, const qx_node *section);
void qx_read_measure(qx_reading *r, const qx_node *section);
void qx_read_contrasts(qx_reading *r, const qx_node *section);
void qx_read_analysis(qx_reading *r, const qx_node *section);
void qx_read_layout(qx_reading *r, const qx_node *section);
void qx_read_planning(qx_reading *r, const qx_node *section);
void qx_read_people(qx_reading *r, const qx_node *section);
void qx_read_crop(qx_reading *r, const qx_node *section);
void qx_read_site(qx_reading *r, const qx_node *section);

/* trial/read_expect.c: the key `expect` of a variate. */
void qx_read_expect(qx_reading *r, const qx_node *node, void *target);

/* trial/protocol_check.c: what no single value shows. */
void qx_protocol_check(qx_reading *r);

/* trial/check_names.c: names that clash. */
void qx_protocol_check_names(qx_reading *r);

/* trial/check_planning.c: what is expected; `arranged`: units are known to hold together. */
void qx_protocol_check_planning(qx_reading *r, bool arranged);

/* trial/check_covariance.c: dates, positions and residuals by season. */
void qx_protocol_check_covariance(qx_reading *r);

#endif

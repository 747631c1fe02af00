/* cli/verb.h - the contract of a verb of the command line.
 *
 * A verb is a const descriptor in a file of its own (verb_<name>.c) and one line in
 * verbs.def. It gets its arguments parsed, calls a task, and adds its result to
 * `call->answer`; the caller (cli.c) prints the answer to standard output, problems, notes
 * and failures to standard error, and turns the status into the contract's exit status. */
#ifndef QX_CLI_VERB_H
#define QX_CLI_VERB_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/ctx.h"
#include "base/problems.h"
#include "base/text.h"
#include "trial/protocol.h"

typedef enum {
    QX_FLAG_HELP = 1 << 0,
    QX_FLAG_JSON = 1 << 1,
    QX_FLAG_SEED = 1 << 2,
    QX_FLAG_OUT = 1 << 3,
    QX_FLAG_ACCEPT_GOOD = 1 << 4,
    QX_FLAG_BY = 1 << 5,
    QX_FLAG_REASON = 1 << 6,
    QX_FLAG_FROM = 1 << 16,
    QX_FLAG_POWER = 1 << 17,
    QX_FLAG_SIMULATE = 1 << 18,
    QX_FLAG_TREES = 1 << 19,
    QX_FLAG_PATH = 1 << 20,
    QX_FLAG_REACH = 1 << 21,
    QX_FLAG_DONE = 1 << 22,
    QX_FLAG_PICTURES = 1 << 23
} qx_flag;

struct qx_verb;

typedef struct qx_call {
    qx_ctx *cx;
    qx_arena *arena; /* lives as long as the call */
    const struct qx_verb *verb;
    qx_problems *problems;
    qx_text *answer;          /* for standard output */
    const char *hint;         /* what may help, told after all problems; NULL: nothing */
    unsigned flags;           /* qx_flag, those that were given */
    uint64_t seed;            /* with QX_FLAG_SEED */
    const char *out;          /* with QX_FLAG_OUT, else NULL */
    const char *by;           /* who; never NULL */
    const char *reason;       /* "" if not given */
    const char *from;         /* with QX_FLAG_FROM, else NULL */
    const char *trees;        /* with QX_FLAG_TREES, else NULL */
    const char *pictures;     /* with QX_FLAG_PICTURES, else NULL */
    const char *done;         /* with QX_FLAG_DONE, else NULL */
    double reach_m;           /* with QX_FLAG_REACH, else 0 */
    double power;             /* with QX_FLAG_POWER, else 0 */
    size_t simulate;          /* with QX_FLAG_SIMULATE, else 0 */
    qx_arithmetic arithmetic; /* with QX_FLAG_PATH, else AUTO */
    size_t file_count;
    const char *const *file;
} qx_call;

typedef struct qx_verb {
    const char *name;
    const char *summary; /* one line for the list */
    const char *usage;   /* "PROTOCOL [DATA.csv]" */
    const char *about;   /* what it does, a few lines, closed by a line end */
    const char *example; /* one or more commands, each a line */
    unsigned flags;      /* qx_flag, those it knows besides --help */
    unsigned needed;     /* those that must be given */
    size_t files_least, files_most;
    qx_status (*run)(qx_call *call);
} qx_verb;

#define X(name) extern const qx_verb qx_verb_##name;
#include "cli/verbs.def"
#undef X

size_t qx_verb_count(void);
const qx_verb *qx_verb_get(size_t i);
const qx_verb *qx_verb_find(const char *name);        /* or NULL */
const char *qx_verb_nearest(const char *name);        /* or NULL */
void qx_verb_help(const qx_verb *verb, qx_text *out); /* --help of one verb */
void qx_verbs_help(qx_text *out);                     /* --help of the program */

/* Arguments after the verb into `call` (flags, files). On a wrong command line QX_E_USAGE
 * with a message. The call's arena keeps what it needs. */
qx_status qx_call_parse(qx_call *call, int count, const char *const argument[]);

static inline bool qx_call_has(const qx_call *call, qx_flag flag)
{
    return (call->flags & (unsigned)flag) != 0;
}

/* For verbs that read FILE.qx or PROTOCOL DATA.csv: the data file, NULL with a trial file.
 * QX_E_USAGE when the files are neither. */
qx_status qx_call_data(const qx_call *call, const char **data);

/* {"quincunx": 1, "files": [path ...]}: the answer in JSON of verbs that make files. */
qx_status qx_answer_files(qx_call *call, size_t count, const char *const path[]);

/* QX_E_NOMEM when the answer met an allocation failure. */
qx_status qx_call_answered(const qx_call *call);

#endif

/* cli/flags.h - the options of all verbs, each with one meaning everywhere. */
#ifndef QX_CLI_FLAGS_H
#define QX_CLI_FLAGS_H

#include "cli/verb.h"

typedef struct qx_flag_word {
    const char *name; /* "--seed", or the short form "-o" */
    qx_flag flag;
    const char *value; /* what follows it, NULL for a switch */
    const char *about;
} qx_flag_word;

size_t qx_flag_word_count(void);
const qx_flag_word *qx_flag_word_get(size_t i);

#endif

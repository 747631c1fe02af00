/* trial/yaml_syntax.h - what is wrong with the YAML of a file, in the user's words.
 *
 * The parser's own sentences speak of tokens and blocks; here each is matched with what a
 * person did who writes a protocol. */
#ifndef QX_TRIAL_YAML_SYNTAX_H
#define QX_TRIAL_YAML_SYNTAX_H

#include <stdbool.h>

typedef struct qx_yaml_fault {
    const char *theirs; /* part of the parser's sentence */
    bool at_start;      /* the place that matters is where the thing began */
    const char *wrong, *expected;
} qx_yaml_fault;

/* Ours for the parser's sentence; `tab`: a tab stands at the place. `wrong` is NULL for a
 * sentence that is not known. */
qx_yaml_fault qx_yaml_fault_of(const char *theirs, bool tab);

#endif

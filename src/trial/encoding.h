/* trial/encoding.h - is a file text in UTF-8? If not, what is it, in the user's words.
 *
 * Told apart: an empty file, UTF-16 (with or without its mark), a spreadsheet or another
 * packed file, other binary files, and text in an older encoding (Latin-1 and the like),
 * with the line and column of the first byte that does not fit. */
#ifndef QX_TRIAL_ENCODING_H
#define QX_TRIAL_ENCODING_H

#include <stdbool.h>
#include <stddef.h>

#include "base/problems.h"

/* Adds at most one problem. True: well-formed UTF-8 without NUL, and `*start` is where the
 * text begins (3 after a byte-order mark, else 0). `kind` names what was expected, as in
 * "a protocol"; `failed` keeps QX_E_NOMEM, else stays as it was. */
bool qx_encoding_check(qx_problems *problems,
                       const char *file,
                       const char *bytes,
                       size_t length,
                       const char *kind,
                       size_t *start,
                       qx_status *failed);

#endif

/* findings/unit_words.h - one unit in words: "tree 3 of block 2". */
#ifndef QX_FINDINGS_UNIT_WORDS_H
#define QX_FINDINGS_UNIT_WORDS_H

#include "findings/work.h"

/* Name of level `level` of the frame's unit number `unit`, in the findings' arena. A unit
 * without labels of its own is told by the first row of the data that lies in it: "the tree
 * of row 12". QX_E_NOMEM. */
qx_status qx_unit_words(qx_work *w, size_t unit, size_t level, const char **out);

#endif

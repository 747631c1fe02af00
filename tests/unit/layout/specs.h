/* tests/unit/layout/specs.h - small specs that several tests share. */
#ifndef QX_TESTS_LAYOUT_SPECS_H
#define QX_TESTS_LAYOUT_SPECS_H

#include "layout/layout.h"

/* Levels "a", "b", ... ; at most 12. */
extern const char *const letters[12];

/* 12 trees, 3 levels: completely randomised. */
extern const qx_layout_spec crd_spec;
/* 6 blocks of 12 trees, pinch (2) x angle (3) twice in each block. */
extern const qx_layout_spec blocks_spec;
/* Rows and columns, `n` of each, one treatment with n levels; n = 1 ... 12. */
typedef struct latin_case {
    qx_layout_unit unit[3];
    qx_layout_treatment treatment;
    qx_layout_spec spec;
} latin_case;
void latin_spec(size_t n, latin_case *out);
/* 4 blocks, 2 trees (pinch), 3 limbs (angle), 4 buds (paste, tie: 2 x 2), sampled shoots. */
extern const qx_layout_spec split_spec;
/* 3 blocks, 2 strips (a) that cross 4 cross strips (b), one plot a cell, 3 trees (c) in it. */
extern const qx_layout_spec strip_spec;
/* 3 blocks of 2 trees, nothing drawn. */
extern const qx_layout_spec none_spec;

#endif

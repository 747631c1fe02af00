/* report/palette.h - inks by their role, and the sizes of writing in charts.
 *
 * A mark names a role; the style sheet gives it a colour for light pages, dark pages and
 * paper. Data colours are a sequence of our own in which neighbours differ in lightness as
 * well as in hue (blue and orange first, which all common forms of colour vision tell
 * apart); every use is doubled by position or text. */
#ifndef QX_REPORT_PALETTE_H
#define QX_REPORT_PALETTE_H

#include <stddef.h>

#include "base/text.h"

#define QX_TEXT_NORMAL 12.5
#define QX_TEXT_SMALL  11.5
#define QX_DATA_INKS   8

typedef enum {
    QX_INK_NONE,
    QX_INK_MAIN,   /* writing, axes, points that count */
    QX_INK_SOFT,   /* second writing */
    QX_INK_RULE,   /* grid */
    QX_INK_ACCENT, /* the finding */
    QX_INK_BAND,   /* margin band */
    QX_INK_PAPER,  /* the page */
    QX_INK_DATA    /* QX_INK_DATA + k, k below QX_DATA_INKS */
} qx_ink;

/* Class suffix of an ink: "main", "d3". */
const char *qx_ink_name(qx_ink ink);

/* Ink of the k-th level: goes round after QX_DATA_INKS. */
qx_ink qx_ink_of_level(size_t k);

/* The custom properties "--qx-main: #...;" for light (0), dark (1), or paper (2). */
void qx_palette_css(qx_text *out, int page);

/* Rules that lay the properties on marks: ".f-main{fill:var(--qx-main)}" ... */
void qx_palette_classes(qx_text *out);

/* Paper units that a text takes at the most in a common sans-serif. */
double qx_text_width(const char *text, double size);

#endif

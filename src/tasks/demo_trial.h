/* tasks/demo_trial.h - the trial of the demonstration. Everything in it is invented.
 *
 * Young pear trees: their limbs are tied at 30, 60 or 90 degrees from the vertical, on trees
 * that were pinched early or not. Six blocks of two trees, three limbs a tree, four new
 * shoots measured on each limb in each of two seasons. The data are drawn from the seed with
 * the truth below, so everybody can see whether the analysis finds it again:
 *
 *   effect on               length, cm   girth, cm   trunk, cm2
 *   mean: none, 30, 2024        52.0         2.40        6.0
 *   pinch early                 -1.0         0.00       -0.6
 *   angle 60                    -9.0        -0.05         -
 *   angle 90                   -20.0        -0.30         -
 *   season 2025                 +4.0        +0.20       +2.0
 *   margin                       8           0.6         1.5
 *
 *   between things (and, each season anew)
 *   blocks                   3.0 (1.5)   0.10 (0.05)  0.6 (0.3)
 *   trees                    2.0 (1.5)   0.06 (0.06)  0.9 (0.8)
 *   limbs                    2.5 (2.5)   0.12 (0.15)     -
 *   shoots                   8.0            -            -
 *
 * No effect depends on another one. Two limbs break before the second season, and about
 * one shoot in thirty is lost. The same table stands in docs/manual/demo.md.
 *
 * The truth was chosen so that each kind of verdict is likely. Chance would now and then
 * show an interaction that is not there, and that would be a poor first lesson: the seed is
 * the first from 20240301 on with which each kind of verdict occurs, no interaction seems to
 * be there, no check of the observations stands out, and every interval holds the truth. So
 * the demonstration is a typical trial, but not a random one; tests look at many seeds. Of
 * the checks of whole trees three stand out, as happens by chance where there are many. */
#ifndef QX_TASKS_DEMO_TRIAL_H
#define QX_TASKS_DEMO_TRIAL_H

#include "base/ctx.h"
#include "base/text.h"
#include "layout/layout.h"
#include "trial/protocol.h"

/* The protocol file (contract section 2), valid as it is. */
const char *qx_demo_protocol(void);

/* A few lines for the folder: what is in it, and that all of it is invented. */
const char *qx_demo_readme(void);

/* Seed of the layout and of the data. */
uint64_t qx_demo_seed(void);

/* Adds the data file to `csv` (an arena of its own, not the scratch memory of cx), for this
 * protocol laid out by `layout`. Same layout, same file. QX_E_ARG when the protocol is not
 * the demonstration's; QX_E_NOMEM. */
qx_status qx_demo_data(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const qx_layout *layout,
                       qx_text *csv);

#endif

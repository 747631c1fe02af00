/* findings/grades.h - grades (in an order) and classes (without) from the frame to the
 * findings: one share for each class.
 *
 * Grades are analysed by cumulative logits: a treatment moves all grades together, so there
 * is one test for each pair and a share for each grade. Whether they do move together is
 * checked and told. Classes without order are analysed by log odds; each class is compared
 * on its own, by the logit of its share.
 *
 * A margin is a difference in the share of any one class, on the scale 0 to 1. */
#ifndef QX_FINDINGS_GRADES_H
#define QX_FINDINGS_GRADES_H

#include "findings/work.h"

/* The whole of one variate after the frame and the choice; data that the model cannot hold
 * are told in a note. QX_E_NOMEM, QX_E_CANCELLED. */
qx_status qx_grades_of(qx_work *w);

#endif

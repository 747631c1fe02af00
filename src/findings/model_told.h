/* findings/model_told.h - what is told of a model whatever its kind: the names of its terms,
 * and a warning where treatments act together. */
#ifndef QX_FINDINGS_MODEL_TOLD_H
#define QX_FINDINGS_MODEL_TOLD_H

#include "findings/work.h"

/* result->fixed and result->random; needs w->design. */
qx_status qx_names_of_model(qx_work *w);

/* An interaction that matters changes how its main effects are read: a note. */
qx_status qx_warn_of_interactions(qx_work *w);

#endif

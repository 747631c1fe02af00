/* layout/assess.h - the criteria of a layout that is there: treatments of one unit against
 * all units above it. See criteria.h for what they are. */
#ifndef QX_LAYOUT_ASSESS_H
#define QX_LAYOUT_ASSESS_H

#include "layout/criteria.h"
#include "layout/layout.h"

struct qx_plan;
struct qx_places;
struct qx_stratum;

/* Treatments put on `unit` (every combination that is there is one treatment; untreated
 * things are left out), blockings: every placed unit above it that holds several of its
 * things and is not alone. QX_E_ARG (no treatments there, another spec), NOMEM. */
QX_API qx_status qx_layout_criteria(qx_ctx *cx,
                                    const qx_layout_spec *spec,
                                    const qx_layout *layout,
                                    size_t unit,
                                    qx_criteria *out);

/* The same for a layout that is being made (inner: plan.h, place.h). */
qx_status qx_stratum_criteria(qx_ctx *cx,
                              const struct qx_plan *plan,
                              const struct qx_places *places,
                              const uint32_t level[],
                              const struct qx_stratum *stratum,
                              qx_criteria *out);

#endif

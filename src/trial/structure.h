/* trial/structure.h - a protocol's units and treatments in the words of the layout floor.
 *
 * Unit numbers stay the protocol's. What is sampled, and all that stands inside it, is not
 * placed; a unit without a count stands once in each parent. */
#ifndef QX_TRIAL_STRUCTURE_H
#define QX_TRIAL_STRUCTURE_H

#include "base/ctx.h"
#include "layout/layout.h"
#include "trial/protocol.h"

/* The spec lives in `arena` and borrows the protocol's texts. QX_E_INPUT: a treatment is
 * put on a unit that is sampled, so that chance cannot give it away beforehand. */
qx_status qx_structure_of(qx_ctx *cx,
                          qx_arena *arena,
                          const qx_protocol *protocol,
                          qx_layout_spec *out);

/* Is the unit sampled while recording, or inside one that is? */
bool qx_unit_sampled(const qx_protocol *protocol, size_t unit);

#endif

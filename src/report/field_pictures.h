/* report/field_pictures.h - pictures of an orchard with its layout: the map, and what
 * blocks of like trees are against blocks by place. Charts "map" and "blocks" draw them. */
#ifndef QX_REPORT_FIELD_PICTURES_H
#define QX_REPORT_FIELD_PICTURES_H

#include "base/ctx.h"
#include "base/text.h"
#include "trial/trees_place.h"

typedef struct qx_field {
    const qx_protocol *protocol;
    const qx_layout *layout;
    const qx_trees *trees;         /* NULL: not known */
    const qx_trees_placed *placed; /* NULL: not known */
} qx_field;

/* A picture that stands alone, as SVG: "map" or "blocks", added to `out` (in an arena of its
 * own). QX_E_ARG: no such picture; QX_E_NOMEM. */
qx_status qx_field_svg(qx_ctx *cx, const qx_field *field, const char *key, qx_text *out);

#endif

/* tasks/lay_out.h - a protocol to a trial file with its randomised layout. */
#ifndef QX_TASKS_LAY_OUT_H
#define QX_TASKS_LAY_OUT_H

#include "base/ctx.h"
#include "base/problems.h"
#include "layout/layout.h"
#include "trial/protocol.h"
#include "trial/trees_place.h"

typedef struct qx_lay_out_wish {
    const char *protocol; /* file */
    const char *trees;    /* list of trees; NULL: none */
    double reach_m;       /* greatest distance inside a block of trees; 0: found */
    uint64_t seed;
    const char *path; /* trial file to make */
    const char *by;   /* who */
} qx_lay_out_wish;

typedef struct qx_laid_out {
    qx_protocol *protocol;
    qx_layout *layout;
    qx_trees *trees;        /* NULL without a list */
    qx_trees_placed placed; /* of the list; in the layout's arena */
    size_t passed_over;     /* seeds whose trees would not have kept treatments apart */
} qx_laid_out;

/* Reads protocol and tree list, draws from the seed (or the first one after it whose trees
 * keep apart what the protocol wants apart), gives the trees their places and makes the
 * trial file, which must not be there (QX_E_EXISTS). QX_E_INPUT with places in
 * `problems` when the protocol or the list is wrong, the units cannot hold the levels, or
 * the trees do not suffice. The caller frees *out with qx_laid_out_free. */
qx_status qx_lay_out(qx_ctx *cx,
                     const qx_lay_out_wish *wish,
                     qx_problems *problems,
                     qx_laid_out *out);

/* Writes map.svg and, with a list of trees, blocks.svg into `folder`, which is made if it is
 * not there. QX_E_IO, QX_E_NOMEM. */
qx_status qx_lay_out_pictures(qx_ctx *cx, const qx_laid_out *made, const char *folder);

/* Takes away the trial file that qx_lay_out has just made. */
qx_status qx_lay_out_undo(qx_ctx *cx, const char *path);

/* The layout of a protocol, drawn but not stored. `problems` as above. */
qx_status qx_draw_layout(qx_ctx *cx,
                         const qx_protocol *protocol,
                         uint64_t seed,
                         qx_problems *problems,
                         qx_layout **out);

/* What stands against laying the protocol out, by place in its file; as notes where
 * `as_notes`, for data from elsewhere may be analysed all the same. */
qx_status qx_layout_complaints(qx_ctx *cx,
                               const qx_protocol *protocol,
                               bool as_notes,
                               qx_problems *problems);

void qx_laid_out_free(qx_laid_out *laid_out);

#endif

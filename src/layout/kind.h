/* layout/kind.h - the contract of a layout kind, and shared parts.
 *
 * A kind is a const descriptor in a file of its own (kind_<key>.c) and one line in
 * kinds.def. Nothing else changes when one is added: storage, map and analysis follow from
 * the units. When several kinds could serve, the first in the list does.
 *
 * Inner header of the folder. */
#ifndef QX_LAYOUT_KIND_H
#define QX_LAYOUT_KIND_H

#include "base/text.h"
#include "layout/place.h"
#include "layout/plan.h"

/* What chance gave, for the description. */
typedef struct qx_drawn {
    const qx_places *places;
    const uint32_t *level;
} qx_drawn;

typedef struct qx_layout_kind {
    const char *key;    /* "blocks": stored in trial files, never renamed */
    const char *title;  /* "Complete blocks" */
    const char *source; /* author, year, title */

    /* Are these units of this kind, whatever their counts? */
    bool (*suits)(const qx_plan *plan);

    /* Complains, in the user's words and with what would fit, of counts that cannot be. */
    qx_status (*check)(qx_ctx *cx, const qx_plan *plan, qx_complaints *to);

    /* Puts levels on the placed things; everything random comes from `seed`. */
    qx_status (*build)(qx_ctx *cx,
                       const qx_plan *plan,
                       const qx_places *places,
                       uint64_t seed,
                       uint32_t level[]);

    /* The sentences for the report. */
    qx_status (*describe)(qx_ctx *cx,
                          const qx_plan *plan,
                          const qx_drawn *drawn,
                          qx_text *out);

    /* Something that is added to another kind (guards), which describes the rest. */
    bool adds;
} qx_layout_kind;

#define X(key) extern const qx_layout_kind qx_kind_##key;
#include "layout/kinds.def"
#undef X

size_t qx_kind_count(void);
const qx_layout_kind *qx_kind_get(size_t i);
const qx_layout_kind *qx_kind_find(const char *key); /* or NULL */
const qx_layout_kind *
qx_kind_suiting(const qx_plan *p); /* the first that suits, or NULL */
const qx_layout_kind *
qx_kind_beneath(const qx_plan *p); /* the first that suits and adds to none, or NULL */

/* Shared by the kinds: each stratum in turn. */
qx_status qx_kind_check_strata(qx_ctx *cx, const qx_plan *plan, qx_complaints *to);
qx_status qx_kind_build_strata(qx_ctx *cx,
                               const qx_plan *plan,
                               const qx_places *places,
                               uint64_t seed,
                               uint32_t level[]);

/* kind_check.c: complaints of strata that cannot hold their levels, and of wishes. */
qx_status qx_stratum_check(qx_ctx *cx,
                           const qx_plan *plan,
                           const qx_stratum *stratum,
                           qx_complaints *to);
qx_status qx_wishes_check(qx_ctx *cx, const qx_plan *plan, qx_complaints *to);

/* kind_words.c: "Chance gave each tree one of the 6 combinations of pinch x angle ..." */
qx_status qx_kind_describe_stratum(qx_ctx *cx,
                                   const qx_plan *plan,
                                   const qx_drawn *drawn,
                                   const qx_stratum *stratum,
                                   qx_text *out);

/* `head` and every stratum, each in a sentence. */
qx_status qx_kind_describe_strata(qx_ctx *cx,
                                  const qx_plan *plan,
                                  const qx_drawn *drawn,
                                  const char *head,
                                  qx_text *out);

/* The words of the kind beneath, for kinds that add to it. */
qx_status qx_kind_describe_beneath(qx_ctx *cx,
                                   const qx_plan *plan,
                                   const qx_drawn *drawn,
                                   qx_text *out);

#endif

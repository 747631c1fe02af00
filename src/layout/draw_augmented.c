/* Augmented blocks: checks in every block, what is new once in the whole trial. Blocks hold
 * what is left where trees are left out. Places that are left over take checks once more, as evenly over the checks and the blocks as can be.
 * Chance gives the new ones their places in the whole trial, the extra checks their blocks,
 * and everything its place inside the block.
 * Source: Federer 1956, Hawaiian Planters' Record 55:191-208; Federer & Raghavarao 1975,
 * Biometrics 31:29-35 (from memory). */
#include "layout/drawing.h"

typedef struct lists {
    size_t *entry; /* combinations that are new, in random order */
    size_t entries;
    size_t *check;
    size_t checks;
    size_t *extra; /* of each block: checks once more */
    size_t *size;  /* of each block */
} lists;

static qx_status fill_lists(qx_drawing *d, lists *l)
{
    const qx_stratum *s = d->stratum;
    size_t *block = NULL;
    QX_NEW(d->cx, l->entry, s->combinations);
    QX_NEW(d->cx, l->check, s->combinations);
    QX_NEW(d->cx, l->extra, d->group_count);
    QX_NEW(d->cx, l->size, d->group_count);
    QX_NEW(d->cx, block, d->group_count);
    for (size_t i = 0; i < d->plots; i++) {
        l->size[d->group[i]]++;
    }
    for (size_t c = 0; c < s->combinations; c++) {
        if (s->check[c]) {
            l->check[l->checks++] = c;
        } else {
            l->entry[l->entries++] = c;
        }
    }
    qx_rng_shuffle(&d->rng, l->entries, l->entry);
    qx_rng_shuffle(&d->rng, l->checks, l->check);
    for (size_t b = 0; b < d->group_count; b++) {
        block[b] = b;
    }
    qx_rng_shuffle(&d->rng, d->group_count, block);
    size_t left = d->plots - d->group_count * l->checks - l->entries;
    for (size_t i = 0; left > 0; i++) {
        const size_t b = block[i % (d->group_count > 0 ? d->group_count : 1)];
        if (l->extra[b] < l->size[b] - l->checks) {
            l->extra[b]++;
            left--;
        }
    }
    return QX_OK;
}

qx_status qx_draw_augmented(qx_drawing *d)
{
    const size_t held = d->stratum->held;
    lists l = {0};
    size_t *filled = NULL;
    size_t *drawn = NULL;
    size_t next_entry = 0;
    size_t next_check = 0;
    QX_TRY(fill_lists(d, &l));
    if (l.checks == 0) {
        return qx_fail(d->cx, QX_E_ARG, "there are no checks");
    }
    QX_NEW(d->cx, filled, d->group_count);
    QX_NEW(d->cx, drawn, d->group_count * held);
    for (size_t b = 0; b < d->group_count; b++) {
        size_t *here = drawn + b * held;
        for (size_t i = 0; i < l.size[b]; i++) {
            if (i < l.checks) {
                here[i] = l.check[i];
            } else if (i < l.checks + l.extra[b]) {
                here[i] = l.check[next_check++ % l.checks];
            } else {
                here[i] = l.entry[next_entry++];
            }
        }
        qx_rng_shuffle(&d->rng, l.size[b], here);
    }
    for (size_t i = 0; i < d->plots; i++) {
        const size_t b = d->group[i];
        d->combination[i] = drawn[b * held + filled[b]++];
    }
    return QX_OK;
}

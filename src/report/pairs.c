#include "report/pairs.h"

#include <math.h>
#include <string.h>

#include "report/words.h"

static bool same_cell(const qx_cell *a, const qx_cell *b)
{
    bool same = a->count == b->count;
    for (size_t i = 0; same && i < a->count; i++) {
        same = strcmp(a->level[i], b->level[i]) == 0;
    }
    return same;
}

bool qx_pair_speaks(const qx_result *r, const qx_difference *d)
{
    return d->class_ == NULL || strcmp(d->class_, r->class_name[0]) == 0;
}

static const qx_difference *in_list(const qx_difference list[],
                                    size_t count,
                                    const qx_difference *d,
                                    const char *class_)
{
    for (size_t i = 0; i < count; i++) {
        if (list[i].class_ != NULL && strcmp(list[i].class_, class_) == 0 &&
            strcmp(list[i].term, d->term) == 0 && same_cell(&list[i].first, &d->first) &&
            same_cell(&list[i].second, &d->second) &&
            same_cell(&list[i].within, &d->within)) {
            return &list[i];
        }
    }
    return NULL;
}

const qx_difference *
qx_pair_in_class(const qx_result *r, const qx_difference *d, size_t class_)
{
    const char *name = r->class_name[class_];
    if (d->second.count == 0) {
        return in_list(r->against, r->against_count, d, name);
    }
    return d->within.count > 0 ? in_list(r->simple, r->simple_count, d, name)
                               : in_list(r->difference, r->difference_count, d, name);
}

bool qx_classes_ordered(const qx_result *r)
{
    return r->definition->kind == QX_ORDINAL;
}

qx_verdict qx_pair_verdict(const qx_result *r, const qx_difference *d)
{
    bool shown = false, trivial = false, inside = true, known = false;
    if (d->class_ == NULL) {
        return d->verdict;
    }
    for (size_t c = 0; c < r->class_count; c++) {
        const qx_difference *e = qx_pair_in_class(r, d, c);
        const qx_verdict v = e == NULL ? QX_UNSETTLED : e->verdict;
        known = known || v != QX_CANNOT_TELL;
        shown = shown || v == QX_HIGHER || v == QX_LOWER_VERDICT;
        trivial = trivial || v == QX_TRIVIAL;
        inside = inside && (v == QX_TRIVIAL || v == QX_EQUIVALENT);
    }
    if (shown) {
        return d->link_estimate > 0.0 || !qx_classes_ordered(r) ? QX_HIGHER
                                                                : QX_LOWER_VERDICT;
    }
    if (inside) {
        return trivial ? QX_TRIVIAL : QX_EQUIVALENT;
    }
    return known ? QX_UNSETTLED : QX_CANNOT_TELL;
}

const char *qx_pair_word(const qx_result *r, const qx_difference *d)
{
    qx_difference whole = *d;
    whole.verdict = qx_pair_verdict(r, d);
    return d->class_ != NULL && whole.verdict == QX_HIGHER && !qx_classes_ordered(r)
               ? "differs"
               : qx_words_verdict(&whole);
}

static bool has_level(const qx_cell *cell, const char *factor, const char *level)
{
    for (size_t i = 0; i < cell->count; i++) {
        if (strcmp(cell->factor[i], factor) == 0) {
            return strcmp(cell->level[i], level) == 0;
        }
    }
    return false;
}

/* Is the mean that of the cell inside `within`? Interactions name their factors in an order of
 * their own. */
static bool is_inside(const qx_mean *m, const qx_cell *cell, const qx_cell *within)
{
    bool same = m->cell.count == cell->count + within->count;
    for (size_t i = 0; same && i < m->cell.count; i++) {
        same = has_level(cell, m->cell.factor[i], m->cell.level[i]) ||
               has_level(within, m->cell.factor[i], m->cell.level[i]);
    }
    return same;
}

const qx_mean *
qx_mean_of_pair(const qx_result *r, const qx_difference *d, const qx_cell *cell)
{
    const char *term = d->second.count == 0 ? QX_ADDED_CONTROL : d->term;
    for (size_t i = 0; i < r->mean_count; i++) {
        const qx_mean *m = &r->mean[i];
        const bool fits =
            d->class_ == NULL || (m->class_ != NULL && strcmp(m->class_, d->class_) == 0);
        if (fits && cell->count > 0 && is_inside(m, cell, &d->within) &&
            (d->within.count > 0 || strcmp(m->term, term) == 0)) {
            return m;
        }
    }
    return NULL;
}

bool qx_pair_means(const qx_result *r,
                   const qx_difference *d,
                   double *first,
                   double *second)
{
    const qx_mean *a = qx_mean_of_pair(r, d, &d->first);
    const qx_mean *b = qx_mean_of_pair(r, d, &d->second);
    *first = a == NULL ? (double)NAN : a->estimate;
    *second = d->second.count == 0 ? *first - d->estimate
              : b == NULL          ? (double)NAN
                                   : b->estimate;
    return !isnan(*first) && !isnan(*second);
}

/* What the units do not tell about the layout by themselves: how often, beside what, where.
 * Everything is kept by number, as layout/wishes.h wants it. */
#include <string.h>

#include "layout/wishes.h"
#include "trial/reading.h"

#define NUMBER_MOST 1000000 /* of a thing inside its parent */
#define TIMES_MOST  1000    /* of one level, one run, one guard: more is mistyped */

/* The wishes while they are written. */
typedef struct wishing {
    qx_layout_wishes wishes;
    const size_t **replicates;
    const bool **check;
    size_t *added_control;
    bool *apart, *even_neighbours;
    size_t *run;
    size_t *guards;
    bool *around;
} wishing;

/* --- names as keys --- */

static size_t treatment_of_key(qx_reading *r, const qx_node *child)
{
    const char *names[QX_NAMES_MOST];
    for (size_t t = 0; t < r->p->treatment_count; t++) {
        if (strcmp(r->treatment[t].name, child->key) == 0) {
            return t;
        }
        names[t] = r->treatment[t].name;
    }
    qx_reading_unknown(
        r, child->key_at, "treatment", child->key, r->p->treatment_count, names);
    return QX_NONE;
}

static size_t unit_of_key(qx_reading *r, const qx_node *child)
{
    const char *names[QX_NAMES_MOST];
    for (size_t u = 0; u < r->p->unit_count; u++) {
        if (strcmp(r->unit[u].name, child->key) == 0) {
            return u;
        }
        names[u] = r->unit[u].name;
    }
    qx_reading_unknown(r, child->key_at, "unit", child->key, r->p->unit_count, names);
    return QX_NONE;
}

static size_t
level_of(qx_reading *r, const qx_treatment *treatment, const char *text, qx_place at)
{
    const size_t level =
        qx_level_find(treatment->level_count, treatment->level, text, strlen(text));
    if (level == QX_NONE) {
        qx_reading_unknown(
            r, at, "level", text, treatment->level_count, treatment->level);
    }
    return level;
}

static bool is_map(qx_reading *r, const qx_node *node, const char *expected)
{
    if (node->kind != QX_NODE_MAP) {
        qx_reading_wrong_kind(r, node, expected);
        return false;
    }
    return true;
}

/* --- kind --- */

static void read_kind(qx_reading *r, const qx_node *node, void *target)
{
    static const char *const words[] = {"completely randomised",
                                        "complete blocks",
                                        "incomplete blocks",
                                        "latin square",
                                        "rows and columns",
                                        "augmented blocks",
                                        "split plot",
                                        "strips"};
    static const char *const kinds[] = {
        "crd", "blocks", "incomplete", "latin", "rowcol", "augmented", "split", "strip"};
    wishing *w = target;
    const size_t before = qx_problems_count(r->problems);
    const size_t word = qx_read_word(r, node, QX_COUNT(words), words);
    w->wishes.kind = qx_problems_count(r->problems) == before ? kinds[word] : NULL;
}

/* --- how often --- */

static void read_times(qx_reading *r, const qx_node *node, size_t t, wishing *w)
{
    const qx_treatment *treatment = &r->treatment[t];
    size_t *times = qx_reading_new(r, treatment->level_count, sizeof *times);
    if (times == NULL ||
        !is_map(r, node, "expected {level: replicates, level: replicates}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t level = level_of(r, treatment, child->key, child->key_at);
        const size_t count = (size_t)qx_read_whole(r, child, 1, TIMES_MOST, 1);
        if (level != QX_NONE) {
            times[level] = count;
        }
    }
    for (size_t i = 0; i < treatment->level_count; i++) {
        times[i] = times[i] == 0 ? 1 : times[i];
    }
    w->replicates[t] = times;
}

static void read_replicates(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    if (!is_map(r, node, "expected {treatment: {level: replicates}}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t t = treatment_of_key(r, child);
        if (t != QX_NONE) {
            read_times(r, child, t, w);
        }
    }
    w->wishes.replicates = w->replicates;
}

static void read_check_levels(qx_reading *r, const qx_node *node, size_t t, wishing *w)
{
    const qx_treatment *treatment = &r->treatment[t];
    const size_t count =
        qx_read_count(r, node, QX_LEVELS_MOST, "expected a list of levels: [one, two]");
    bool *check = qx_reading_new(r, treatment->level_count, sizeof *check);
    if (check == NULL) {
        return;
    }
    const qx_node *child = NULL;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        const size_t level = level_of(r, treatment, qx_read_text(r, child), child->at);
        if (level != QX_NONE) {
            check[level] = true;
        }
    }
    w->check[t] = check;
}

static void read_checks(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    if (!is_map(r, node, "expected {treatment: [level, level]}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t t = treatment_of_key(r, child);
        if (t != QX_NONE) {
            read_check_levels(r, child, t, w);
        }
    }
    w->wishes.check = w->check;
}

static void read_added_control(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    if (!is_map(r, node, "expected {treatment: level, treatment: level}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t t = treatment_of_key(r, child);
        if (t == QX_NONE) {
            continue;
        }
        const size_t level =
            level_of(r, &r->treatment[t], qx_read_text(r, child), child->at);
        w->added_control[t] = level == QX_NONE ? QX_NO_WISH : level;
    }
    w->wishes.added_control = w->added_control;
}

/* --- beside what --- */

static void read_flags(qx_reading *r, const qx_node *node, bool flag[])
{
    const size_t count =
        qx_read_count(r, node, QX_NAMES_MOST, "expected a list of treatments: [spray]");
    const qx_node *child = NULL;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        const size_t t = qx_read_treatment_name(r, child);
        if (t != QX_NONE) {
            flag[t] = true;
        }
    }
}

static void read_apart(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    read_flags(r, node, w->apart);
    w->wishes.apart = w->apart;
}

static void read_even_neighbours(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    read_flags(r, node, w->even_neighbours);
    w->wishes.even_neighbours = w->even_neighbours;
}

static void read_runs(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    if (!is_map(r, node, "expected {treatment: trees beside each other}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t t = treatment_of_key(r, child);
        const size_t run = (size_t)qx_read_whole(r, child, 1, TIMES_MOST, 1);
        if (t != QX_NONE) {
            w->run[t] = run;
        }
    }
    w->wishes.run = w->run;
}

static void read_guards(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    if (!is_map(r, node, "expected {unit: guards}, such as {tree: 1}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        const size_t u = unit_of_key(r, child);
        const size_t guards = (size_t)qx_read_whole(r, child, 1, TIMES_MOST, 1);
        if (u != QX_NONE) {
            w->guards[u] = guards;
        }
    }
    w->wishes.guards = w->guards;
}

/* One thing: a list of numbers, larger units first, or a single number. */
static void read_one_out(qx_reading *r, const qx_node *node, qx_left_out *out)
{
    const size_t count = qx_read_count(
        r, node, QX_LAYOUT_DEPTH_MOST, "expected numbers, larger units first: [3, 5]");
    const qx_node *child = NULL;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        out->number[i] = (size_t)qx_read_whole(r, child, 1, NUMBER_MOST, 1);
    }
    out->depth = count;
}

static void read_left_out(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    size_t most = 0;
    if (!is_map(r, node, "expected {unit: [[numbers of one], [of another]]}")) {
        return;
    }
    for (const qx_node *child = node->first; child != NULL; child = child->next) {
        most += child->count;
    }
    qx_left_out *list = qx_reading_new(r, most, sizeof *list);
    size_t n = 0;
    for (const qx_node *child = node->first; list != NULL && child != NULL;
         child = child->next) {
        const size_t u = unit_of_key(r, child);
        if (child->kind != QX_NODE_LIST) {
            qx_reading_wrong_kind(r, child, "expected a list such as [[3, 5], [4, 1]]");
            continue;
        }
        for (const qx_node *one = child->first; one != NULL && u != QX_NONE;
             one = one->next) {
            list[n].unit = u;
            read_one_out(r, one, &list[n]);
            n++;
        }
    }
    w->wishes.left_out = list;
    w->wishes.left_out_count = list == NULL ? 0 : n;
}

/* --- where --- */

static void read_around(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    const size_t count =
        qx_read_count(r, node, QX_NAMES_MOST, "expected a unit, such as around: limb");
    const qx_node *child = NULL;
    for (size_t i = 0; i < count; i++) {
        child = qx_read_next(node, child);
        const size_t u = qx_read_unit_name(r, child);
        if (u == QX_NONE) {
            continue;
        }
        if (r->unit[u].parent_count == 1) {
            w->around[u] = true;
        } else {
            QX_COMPLAIN(r,
                        child->at,
                        "expected a unit within one other, such as limb within tree",
                        "\"%s\" stands around nothing",
                        r->unit[u].name);
        }
    }
    w->wishes.around = w->around;
}

static void read_tree(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    const size_t u = qx_read_unit_name(r, node);
    w->wishes.tree = u == QX_NONE ? QX_NO_WISH : u;
}

static void read_row(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    const size_t u = qx_read_unit_name(r, node);
    w->wishes.row = u == QX_NONE ? QX_NO_WISH : u;
}

static void read_rows(qx_reading *r, const qx_node *node, void *target)
{
    wishing *w = target;
    w->wishes.rows = (size_t)qx_read_whole(r, node, 1, TIMES_MOST, 1);
}

/* --- the section --- */

static bool make_room(qx_reading *r, wishing *w)
{
    const size_t t = r->p->treatment_count;
    const size_t u = r->p->unit_count;
    w->replicates = qx_reading_new(r, t, sizeof *w->replicates);
    w->check = qx_reading_new(r, t, sizeof *w->check);
    w->added_control = qx_reading_new(r, t, sizeof *w->added_control);
    w->apart = qx_reading_new(r, t, sizeof *w->apart);
    w->even_neighbours = qx_reading_new(r, t, sizeof *w->even_neighbours);
    w->run = qx_reading_new(r, t, sizeof *w->run);
    w->guards = qx_reading_new(r, u, sizeof *w->guards);
    w->around = qx_reading_new(r, u, sizeof *w->around);
    return w->replicates != NULL && w->check != NULL && w->added_control != NULL &&
           w->apart != NULL && w->even_neighbours != NULL && w->run != NULL &&
           w->guards != NULL && w->around != NULL;
}

void qx_read_layout(qx_reading *r, const qx_node *section)
{
    static const qx_key keys[] = {
        {"kind", read_kind, QX_KEY_MAY},
        {"replicates", read_replicates, QX_KEY_MAY},
        {"checks", read_checks, QX_KEY_MAY},
        {"added_control", read_added_control, QX_KEY_MAY},
        {"apart", read_apart, QX_KEY_MAY},
        {"even_neighbours", read_even_neighbours, QX_KEY_MAY},
        {"runs", read_runs, QX_KEY_MAY},
        {"guards", read_guards, QX_KEY_MAY},
        {"left_out", read_left_out, QX_KEY_MAY},
        {"around", read_around, QX_KEY_MAY},
        {"tree", read_tree, QX_KEY_MAY},
        {"row", read_row, QX_KEY_MAY},
        {"rows", read_rows, QX_KEY_MAY},
    };
    wishing w = {.wishes = QX_LAYOUT_WISHES_DEFAULTS};
    qx_layout_wishes *kept = qx_reading_new(r, 1, sizeof *kept);
    if (section == NULL || kept == NULL || r->failed != QX_OK || !make_room(r, &w)) {
        return;
    }
    for (size_t t = 0; t < r->p->treatment_count; t++) {
        w.added_control[t] = QX_NO_WISH;
    }
    qx_read_keys(r, section, "the layout", QX_COUNT(keys), keys, &w);
    *kept = w.wishes;
    r->p->wishes = kept;
    r->p->wishes_at = section->key_at;
}

/* report/chart_layout.c - the map of the layout: units inside each other, each with its
 * label and the levels that chance gave it, as text and as a strip of colour. Units side by
 * side stand in the order of their labels, not to scale. */
#include <string.h>

#include "layout/layout.h"
#include "report/chart.h"
#include "report/rounding.h"
#include "report/words.h"

#define LEAF_HIGH   34.0
#define LEAF_MOST   (QX_SCENE_WIDTH - 40.0)
#define GAP         4.0
#define HEAD        15.0
#define CODE_MOST   8 /* longer level names are told by a letter and explained below */
#define PLACES_MOST 2000
#define NO_PLACE    ((size_t)-1)

typedef struct map {
    const qx_chart_input *in;
    qx_scene *s;
    const qx_protocol *p;
    const qx_layout *layout;
    size_t *child;             /* placed_count: first thing below, NO_PLACE if none */
    size_t *sibling;           /* placed_count: next thing below the same parent */
    size_t top;                /* first thing without a parent */
    double leaf;               /* width of a thing without anything below */
    bool coded[QX_NAMES_MOST]; /* treatment: told by letters */
} map;

static bool suits(const qx_chart_input *in)
{
    return in->findings->layout != NULL && in->findings->layout->placed_count > 0 &&
           in->findings->layout->placed_count <= PLACES_MOST;
}

static size_t parents(const map *m, size_t i)
{
    return m->p->unit[m->layout->placed[i].unit].parent_count;
}

/* Things hang below their first parent; a second one (column) is told in the label. */
static bool link_things(map *m)
{
    const size_t n = m->layout->placed_count;
    m->child = qx_arena_alloc(m->s->arena, n, sizeof *m->child);
    m->sibling = qx_arena_alloc(m->s->arena, n, sizeof *m->sibling);
    if (m->child == NULL || m->sibling == NULL) {
        m->s->failed = true;
        return false;
    }
    m->top = NO_PLACE;
    for (size_t i = 0; i < n; i++) {
        m->child[i] = NO_PLACE;
    }
    for (size_t i = n; i-- > 0;) {
        size_t *list =
            parents(m, i) == 0 ? &m->top : &m->child[m->layout->placed[i].parent[0]];
        m->sibling[i] = *list;
        *list = i;
    }
    return true;
}

static const char *level_text(const map *m, size_t t, size_t level)
{
    qx_doc *doc = m->in->doc;
    if (!m->coded[t]) {
        return qx_words_level(
            doc, m->p, m->p->treatment[t].name, m->p->treatment[t].level[level]);
    }
    return level < 26
               ? qx_say(doc, "%c", 'A' + (int)level)
               : qx_say(
                     doc, "%c%c", 'A' + (int)(level / 26) - 1, 'A' + (int)(level % 26));
}

static size_t level_of(const map *m, size_t i, size_t t)
{
    const uint32_t level = m->layout->level[i * m->layout->treatment_count + t];
    return level == QX_NO_LEVEL ? QX_NONE : level;
}

/* Levels of one thing: "early, 30°"; "" when none is put on it. */
static const char *levels_text(const map *m, size_t i)
{
    const char *text = "";
    for (size_t t = 0; t < m->layout->treatment_count; t++) {
        const size_t level = level_of(m, i, t);
        if (level != QX_NONE) {
            text = qx_say(m->in->doc,
                          "%s%s%s",
                          text,
                          text[0] == '\0' ? "" : ", ",
                          level_text(m, t, level));
        }
    }
    return text;
}

static void strip(const map *m, size_t i, double x, double y, double width)
{
    size_t count = 0, at = 0;
    for (size_t t = 0; t < m->layout->treatment_count; t++) {
        count += level_of(m, i, t) != QX_NONE ? 1 : 0;
    }
    for (size_t t = 0; t < m->layout->treatment_count; t++) {
        const size_t level = level_of(m, i, t);
        if (level != QX_NONE) {
            const double part = width / (double)count;
            qx_scene_bar(m->s,
                         x + part * (double)at,
                         y,
                         x + part * (double)(at + 1),
                         y + 4.0,
                         (qx_pen){.fill = qx_ink_of_level(level)});
            at++;
        }
    }
}

static const char *label_of(const map *m, size_t i)
{
    const qx_placed *thing = &m->layout->placed[i];
    const char *label = thing->label;
    if (parents(m, i) > 1) {
        label = qx_say(m->in->doc, "%s", m->layout->placed[thing->parent[1]].label);
    }
    return label;
}

/* Does every thing below hang between two crossed units and have nothing below it? Then
 * columns are drawn with the rows, and stand nowhere on their own. */
static bool column_only(const map *m, size_t i)
{
    if (m->child[i] != NO_PLACE) {
        return false;
    }
    for (size_t k = 0; k < m->layout->placed_count; k++) {
        if (parents(m, k) > 1) {
            for (size_t q = 1; q < parents(m, k); q++) {
                if (m->layout->placed[k].parent[q] == i) {
                    return true;
                }
            }
        }
    }
    return false;
}

static double width_of(const map *m, size_t i, double room);
static double height_of(const map *m, size_t i, double width);

/* Sets `list` and what follows side by side in `room`; draws when `y` is not negative.
 * Gives the height used. Depth is that of the units (at most QX_NAMES_MOST). */
static double flow(const map *m, size_t list, double x, double y, double room);

static bool leaf(const map *m, size_t i)
{
    return m->child[i] == NO_PLACE;
}

/* "block 3", "tree 2: early": what stands at the head of a thing with others inside. */
static const char *head_of(const map *m, size_t i)
{
    const char *levels = levels_text(m, i);
    return qx_say(m->in->doc,
                  "%s %s%s%s",
                  m->p->unit[m->layout->placed[i].unit].name,
                  m->layout->placed[i].label,
                  levels[0] == '\0' ? "" : ": ",
                  levels);
}

/* Widest row of things that fit side by side; its head is not cut if there is room. */
static double width_of(const map *m, size_t i, double room)
{
    double all = 0.0;
    if (leaf(m, i)) {
        return m->leaf < room ? m->leaf : room;
    }
    for (size_t k = m->child[i]; k != NO_PLACE; k = m->sibling[k]) {
        all += width_of(m, k, room - 2.0 * GAP) + GAP;
    }
    all += GAP;
    const double head = qx_text_width(head_of(m, i), QX_TEXT_SMALL) + 8.0;
    all = head > all ? head : all;
    return all < room ? all : room;
}

static double height_of(const map *m, size_t i, double width)
{
    if (leaf(m, i)) {
        return LEAF_HIGH;
    }
    return HEAD + flow(m, m->child[i], GAP, -1.0, width - 2.0 * GAP) + GAP;
}

static void draw_thing(const map *m, size_t i, double x, double y, double width)
{
    const double high = height_of(m, i, width);
    const char *levels = levels_text(m, i);
    const char *name = leaf(m, i) ? label_of(m, i) : head_of(m, i);
    qx_scene_bar(
        m->s,
        x,
        y,
        x + width,
        y + high,
        (qx_pen){.stroke = leaf(m, i) ? QX_INK_RULE : QX_INK_SOFT, .width = 1.0});
    strip(m, i, x, y, width);
    qx_writing how = qx_writing_soft;
    qx_scene_text(m->s, x + 3.0, y + (leaf(m, i) ? 14.5 : 13.5), width - 5.0, name, how);
    if (leaf(m, i)) {
        how.ink = QX_INK_MAIN;
        how.bold = true;
        qx_scene_text(m->s, x + 3.0, y + 28.0, width - 5.0, levels, how);
    } else {
        (void)flow(m, m->child[i], x + GAP, y + HEAD + 2.0, width - 2.0 * GAP);
    }
}

static double flow(const map *m, size_t list, double x, double y, double room)
{
    double at = 0.0, down = 0.0, row = 0.0;
    for (size_t k = list; k != NO_PLACE; k = m->sibling[k]) {
        if (column_only(m, k)) {
            continue;
        }
        const double wide = width_of(m, k, room);
        const double high = height_of(m, k, wide);
        if (at > 0.0 && at + wide > room + 0.01) {
            at = 0.0;
            down += row + GAP;
            row = 0.0;
        }
        if (y >= 0.0) {
            draw_thing(m, k, x + at, y + down, wide);
        }
        at += wide + GAP;
        row = high > row ? high : row;
    }
    return down + row + 2.0;
}

static void choose_width(map *m)
{
    double widest = 22.0;
    for (size_t t = 0; t < m->layout->treatment_count; t++) {
        m->coded[t] = false;
        for (size_t l = 0; l < m->p->treatment[t].level_count; l++) {
            m->coded[t] =
                m->coded[t] || qx_utf8_length(m->p->treatment[t].level[l]) > CODE_MOST;
        }
    }
    for (size_t i = 0; i < m->layout->placed_count; i++) {
        if (leaf(m, i) && !column_only(m, i)) {
            const double a = qx_text_width(levels_text(m, i), QX_TEXT_SMALL) + 8.0;
            const double b = qx_text_width(label_of(m, i), QX_TEXT_SMALL) + 8.0;
            widest = a > widest ? a : widest;
            widest = b > widest ? b : widest;
        }
    }
    m->leaf = widest < LEAF_MOST ? widest : LEAF_MOST;
}

static double draw_key(const map *m, double y)
{
    for (size_t t = 0; t < m->layout->treatment_count; t++) {
        const qx_treatment *x = &m->p->treatment[t];
        qx_writing how = qx_writing_soft;
        how.bold = true;
        y += 16.0;
        qx_scene_text(m->s, 0.0, y, m->s->width, x->name, how);
        for (size_t l = 0; l < x->level_count; l++) {
            const char *name = qx_words_level(m->in->doc, m->p, x->name, x->level[l]);
            const char *text =
                m->coded[t] ? qx_say(m->in->doc, "%s = %s", level_text(m, t, l), name)
                            : name;
            qx_scene_bar(
                m->s, 2.0, y + 7.0, 12.0, y + 15.0, (qx_pen){.fill = qx_ink_of_level(l)});
            y = qx_scene_lines(m->s,
                               18.0,
                               y + 15.0,
                               m->s->width - 20.0,
                               15.0,
                               text,
                               qx_writing_label) -
                15.0;
        }
    }
    return y + 8.0;
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    map m = {
        .in = in, .s = s, .p = in->findings->protocol, .layout = in->findings->layout};
    if (!suits(in)) {
        qx_scene_nothing(s,
                         in->findings->layout == NULL
                             ? "The layout is not known."
                             : "The layout is too large to draw as one picture.");
        return;
    }
    if (!link_things(&m)) {
        return;
    }
    choose_width(&m);
    const double map_high = flow(&m, m.top, 1.0, 1.0, s->width - 2.0);
    s->height = draw_key(&m, map_high + 6.0);
}

static const char *caption(const qx_chart_input *in)
{
    (void)in;
    return "Map of the layout, not to scale";
}

static const char *describe(const qx_chart_input *in)
{
    const qx_layout *layout = in->findings->layout;
    if (!suits(in)) {
        return layout == NULL ? "The layout is not known."
                              : "The layout is too large to draw as one picture.";
    }
    map m = {.in = in, .p = in->findings->protocol, .layout = layout};
    const char *text = "What chance gave to each unit.";
    for (size_t i = 0; i < layout->placed_count; i++) {
        const qx_placed *thing = &layout->placed[i];
        const char *levels = levels_text(&m, i);
        const char *above = "";
        if (levels[0] == '\0') {
            continue;
        }
        for (size_t k = 0; k < parents(&m, i); k++) {
            const qx_placed *up = &layout->placed[thing->parent[k]];
            above =
                qx_say(in->doc, "%s%s %s, ", above, m.p->unit[up->unit].name, up->label);
        }
        text = qx_say(in->doc,
                      "%s %s%s %s: %s.",
                      text,
                      above,
                      m.p->unit[thing->unit].name,
                      thing->label,
                      levels);
    }
    return text;
}

const qx_chart_kind qx_chart_layout = {.key = "layout",
                                       .title = "Map of the layout",
                                       .suits = suits,
                                       .draw = draw,
                                       .describe = describe,
                                       .caption = caption};

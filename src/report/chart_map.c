/* report/chart_map.c - the orchard from above: rows side by side, places upwards, each tree
 * of the trial with its treatments (colour and text), its label, its block and a dot for its
 * trunk; trees that take no part as rings, missing ones as crosses; an arrow to the north.
 * Rows that do not fit side by side go into further panels below, so that nothing is cut
 * and the picture can be read on a telephone. */
#include <math.h>
#include <string.h>

#include "report/chart.h"
#include "report/field_pictures.h"
#include "report/rounding.h"
#include "report/words.h"

#define TOP        46.0 /* room for the compass */
#define LEFT       34.0
#define CELL_HIGH  19.0
#define CELL_LEAST 60.0
#define TEXT_FROM  19.0 /* of a cell: right of strip and trunk */
#define APART      6.0  /* between the texts of a cell */
#define FOOT       34.0 /* names of the rows below a panel */
#define TRUNK_MOST 5.0
#define TREES_MOST 5000
#define PI         3.14159265358979323846

typedef struct map {
    const qx_chart_input *in;
    const qx_field *f;
    qx_scene *s;
    double row_low, row_high, place_low, place_high;
    double wide;      /* of a cell: nothing in it is cut */
    double code_wide; /* widest code of levels */
    size_t across;    /* rows side by side; more go into further panels below */
    double largest;   /* trunk area; 0 without sizes */
} map;

static void take(map *m, double row, double place, double size)
{
    m->row_low = fmin(m->row_low, row);
    m->row_high = fmax(m->row_high, row);
    m->place_low = fmin(m->place_low, place);
    m->place_high = fmax(m->place_high, place);
    m->largest = fmax(m->largest, size); /* not-a-number is left out */
}

/* False when there is nothing to map, or too much for one picture. */
static bool measure(const qx_chart_input *in, map *m)
{
    *m = (map){.in = in,
               .f = in->field,
               .row_low = INFINITY,
               .row_high = -INFINITY,
               .place_low = INFINITY,
               .place_high = -INFINITY};
    if (in->field == NULL || in->field->layout->stand == NULL) {
        return false;
    }
    const qx_layout *layout = m->f->layout;
    for (size_t i = 0; i < layout->placed_count; i++) {
        if (!isnan(layout->stand[i].row)) {
            take(m, layout->stand[i].row, layout->stand[i].place, layout->stand[i].size);
        }
    }
    for (size_t i = 0; m->f->trees != NULL && i < m->f->trees->count; i++) {
        const qx_tree *tree = &m->f->trees->tree[i];
        take(m, tree->row, tree->place, tree->trunk_area_cm2);
    }
    const double rows = m->row_high - m->row_low + 1.0;
    const double places = m->place_high - m->place_low + 1.0;
    return rows * places <= TREES_MOST;
}

static bool suits(const qx_chart_input *in)
{
    map m;
    return measure(in, &m);
}

/* --- panels: as many rows side by side as can be read --- */

static double panel_high(const map *m)
{
    return CELL_HIGH * (m->place_high - m->place_low + 1.0) + FOOT;
}

static size_t panel_of(const map *m, double row)
{
    return (size_t)(row - m->row_low) / m->across;
}

/* Foot of a panel's lowest place. */
static double panel_bottom(const map *m, size_t panel)
{
    return TOP + panel_high(m) * (double)(panel + 1) - FOOT;
}

/* Lower left corner of a cell. */
static double cell_x(const map *m, double row)
{
    const double in_panel = row - m->row_low - (double)(panel_of(m, row) * m->across);
    return LEFT + m->wide * in_panel;
}

static double cell_y(const map *m, double row, double place)
{
    return panel_bottom(m, panel_of(m, row)) - CELL_HIGH * (place - m->place_low);
}

/* A row as the list calls it: 3, or C. */
static const char *row_name(const map *m, double row)
{
    for (size_t i = 0; m->f->trees != NULL && i < m->f->trees->count; i++) {
        if (m->f->trees->tree[i].row == row) {
            return m->f->trees->tree[i].row_text;
        }
    }
    return qx_say(m->in->doc, "%.0f", row);
}

/* --- what a tree was given --- */

/* The thing of unit `on` that is above the tree, or the tree itself; QX_NONE: below it. */
static size_t thing_on(const map *m, size_t thing, size_t on)
{
    const qx_layout *layout = m->f->layout;
    const qx_protocol *p = m->f->protocol;
    while (layout->placed[thing].unit != on) {
        const qx_placed *placed = &layout->placed[thing];
        const qx_unit *unit = &p->unit[placed->unit];
        size_t next = QX_NONE;
        for (size_t k = 0; k < unit->parent_count; k++) {
            next = qx_unit_reaches(p, on, unit->parent[k]) ? placed->parent[k] : next;
        }
        if (next == QX_NONE) {
            return QX_NONE;
        }
        thing = next;
    }
    return thing;
}

static size_t level_of(const map *m, size_t thing, size_t t)
{
    const size_t on = thing_on(m, thing, m->f->protocol->treatment[t].on);
    const uint32_t level =
        on == QX_NONE ? QX_NO_LEVEL
                      : m->f->layout->level[on * m->f->layout->treatment_count + t];
    return level == QX_NO_LEVEL ? QX_NONE : level;
}

/* Levels as letters, explained below the map: A, B ... of each treatment. */
static const char *code_of(const map *m, size_t thing)
{
    const char *code = "";
    for (size_t t = 0; t < m->f->protocol->treatment_count; t++) {
        const size_t level = level_of(m, thing, t);
        if (level != QX_NONE) {
            code = level < 26 ? qx_say(m->in->doc, "%s%c", code, 'A' + (int)level)
                              : qx_say(m->in->doc, "%s%zu", code, level + 1);
        }
    }
    return code;
}

static const char *block_of(const map *m, size_t thing)
{
    const qx_protocol *p = m->f->protocol;
    for (size_t u = 0; u < p->unit_count; u++) {
        const size_t block = p->unit[u].parent_count == 0 ? thing_on(m, thing, u) : thing;
        if (block != thing && block != QX_NONE) {
            return m->f->layout->placed[block].label;
        }
    }
    return "";
}

/* Cells as wide as what stands in them; the page holds at least one row. */
static void fit_cells(map *m)
{
    double rest = 0.0; /* label and block */
    m->wide = CELL_LEAST;
    m->code_wide = 0.0;
    for (size_t i = 0; i < m->f->layout->placed_count; i++) {
        if (isnan(m->f->layout->stand[i].row)) {
            continue;
        }
        /* bold letters are wider than measured */
        const double code = 1.12 * qx_text_width(code_of(m, i), QX_TEXT_SMALL);
        const double label = qx_text_width(m->f->layout->placed[i].label, QX_TEXT_SMALL);
        const double block = qx_text_width(block_of(m, i), QX_TEXT_SMALL);
        m->code_wide = fmax(m->code_wide, code);
        rest = fmax(rest, label + (block > 0.0 ? block + APART : 0.0));
    }
    m->wide = fmax(m->wide, TEXT_FROM + m->code_wide + APART + rest + APART);
    const double most = QX_SCENE_WIDTH - LEFT - 2.0;
    m->wide = fmin(m->wide, most);
    m->across = (size_t)(most / m->wide);
    const double rows = m->row_high - m->row_low + 1.0;
    m->across = (double)m->across > rows ? (size_t)rows : m->across;
    m->across = m->across == 0 ? 1 : m->across;
}

/* --- drawing --- */

static void draw_trunk(const map *m, double x, double y, double size, bool used)
{
    if (isnan(size) || !(m->largest > 0.0)) {
        size = 0.3 * m->largest;
    }
    const double r =
        m->largest > 0.0 ? TRUNK_MOST * sqrt(size / m->largest) : 0.5 * TRUNK_MOST;
    qx_scene_dot(m->s,
                 x,
                 y,
                 r,
                 QX_SHAPE_ROUND,
                 (qx_pen){.fill = used ? QX_INK_MAIN : QX_INK_PAPER,
                          .stroke = used ? QX_INK_PAPER : QX_INK_SOFT,
                          .width = 1.0});
}

static void draw_strip(const map *m, size_t thing, double x, double y)
{
    const qx_protocol *p = m->f->protocol;
    size_t count = 0, at = 0;
    for (size_t t = 0; t < p->treatment_count; t++) {
        count += (size_t)(level_of(m, thing, t) != QX_NONE);
    }
    for (size_t t = 0; t < p->treatment_count; t++) {
        const size_t level = level_of(m, thing, t);
        const double part = (CELL_HIGH - 3.0) / (double)(count == 0 ? 1 : count);
        if (level != QX_NONE) {
            qx_scene_bar(m->s,
                         x + 1.0,
                         y - CELL_HIGH + 1.5 + part * (double)at,
                         x + 5.0,
                         y - CELL_HIGH + 1.5 + part * (double)(at + 1),
                         (qx_pen){.fill = qx_ink_of_level(level)});
            at++;
        }
    }
}

static void draw_tree(const map *m, size_t thing)
{
    const qx_stand *stand = &m->f->layout->stand[thing];
    const double x = cell_x(m, stand->row), y = cell_y(m, stand->row, stand->place);
    qx_scene_bar(m->s,
                 x,
                 y - CELL_HIGH + 0.5,
                 x + m->wide - 1.0,
                 y - 0.5,
                 (qx_pen){.stroke = QX_INK_RULE, .width = 1.0});
    draw_strip(m, thing, x, y);
    draw_trunk(m, x + 12.0, y - CELL_HIGH / 2.0, stand->size, true);
    const char *block = block_of(m, thing);
    qx_writing how = qx_writing_soft;
    const double at = x + TEXT_FROM;
    const double end = x + m->wide - APART;
    const double block_wide = qx_text_width(block, how.size);
    const double label_at = at + m->code_wide + APART;
    how.ink = QX_INK_MAIN;
    how.bold = true;
    qx_scene_text(m->s, at, y - 5.5, m->code_wide + 1.0, code_of(m, thing), how);
    how.bold = false;
    how.ink = QX_INK_SOFT;
    qx_scene_text(m->s,
                  label_at,
                  y - 5.5,
                  end - label_at - (block[0] == '\0' ? 0.0 : block_wide + APART) + 1.0,
                  m->f->layout->placed[thing].label,
                  how);
    how.anchor = QX_FROM_END;
    how.ink = QX_INK_MAIN;
    qx_scene_text(m->s, end, y - 5.5, block_wide + 1.0, block, how);
}

/* Trees of the list that take no part. */
static void draw_others(const map *m)
{
    for (size_t i = 0; m->f->trees != NULL && i < m->f->trees->count; i++) {
        const qx_tree *tree = &m->f->trees->tree[i];
        bool used = false;
        for (size_t k = 0; !used && k < m->f->layout->placed_count; k++) {
            used = m->f->layout->stand[k].row == tree->row &&
                   m->f->layout->stand[k].place == tree->place;
        }
        const double x = cell_x(m, tree->row) + 12.0;
        const double y = cell_y(m, tree->row, tree->place) - CELL_HIGH / 2.0;
        if (!used && tree->status == QX_TREE_MISSING) {
            const qx_pen pen = {.stroke = QX_INK_SOFT, .width = 1.0};
            qx_scene_line(m->s, x - 3.0, y - 3.0, x + 3.0, y + 3.0, pen);
            qx_scene_line(m->s, x - 3.0, y + 3.0, x + 3.0, y - 3.0, pen);
        } else if (!used) {
            draw_trunk(m, x, y, tree->trunk_area_cm2, false);
        }
    }
}

static size_t panels(const map *m)
{
    return panel_of(m, m->row_high) + 1;
}

static void draw_axes(const map *m)
{
    qx_writing how = qx_writing_tick;
    const size_t rows = (size_t)(m->row_high - m->row_low) + 1;
    for (size_t i = 0; i < rows; i++) {
        const double row = m->row_low + (double)i;
        qx_scene_text(m->s,
                      cell_x(m, row) + m->wide / 2.0,
                      panel_bottom(m, panel_of(m, row)) + 13.0,
                      m->wide,
                      qx_say(m->in->doc, "row %s", row_name(m, row)),
                      how);
    }
    how.anchor = QX_FROM_END;
    const size_t places = (size_t)(m->place_high - m->place_low) + 1;
    for (size_t i = 0; i < panels(m) * places; i++) {
        const double place = m->place_low + (double)(i % places);
        qx_scene_text(m->s,
                      LEFT - 5.0,
                      panel_bottom(m, i / places) - CELL_HIGH * (double)(i % places) -
                          5.5,
                      30.0,
                      qx_say(m->in->doc, "%.0f", place),
                      how);
    }
}

/* Places run upwards on the page, towards the bearing: north is that much to the left. */
static void draw_compass(const map *m)
{
    const double x = m->s->width - 24.0, y = 22.0, r = 15.0;
    const double bearing = m->f->protocol->site.row_bearing;
    qx_writing how = qx_writing_soft;
    if (isnan(bearing)) {
        how.anchor = QX_FROM_END;
        qx_scene_text(m->s,
                      m->s->width - 4.0,
                      14.0,
                      m->s->width - LEFT,
                      "north: not given (site: row_bearing)",
                      how);
        return;
    }
    const double a = -bearing * PI / 180.0; /* from upwards, clockwise */
    const double dx = sin(a), dy = -cos(a);
    const double arrow[] = {x + r * dx,
                            y + r * dy,
                            x - 0.45 * r * dx - 0.4 * r * dy,
                            y - 0.45 * r * dy + 0.4 * r * dx,
                            x - 0.45 * r * dx + 0.4 * r * dy,
                            y - 0.45 * r * dy - 0.4 * r * dx,
                            x + r * dx,
                            y + r * dy};
    qx_scene_path(m->s, 4, arrow, (qx_pen){.fill = QX_INK_MAIN, .stroke = QX_INK_MAIN});
    how = qx_writing_label;
    how.anchor = QX_FROM_END;
    qx_scene_text(m->s, x - 20.0, y + 4.0, 60.0, "north", how);
}

static double draw_legend(const map *m, double y)
{
    const qx_protocol *p = m->f->protocol;
    const double room = m->s->width - LEFT;
    for (size_t t = 0; t < p->treatment_count; t++) {
        const qx_treatment *treatment = &p->treatment[t];
        qx_scene_text(m->s, LEFT, y, room, treatment->name, qx_writing_label);
        y += 15.0;
        for (size_t l = 0; l < treatment->level_count; l++) {
            const char *code = l < 26 ? qx_say(m->in->doc, "%c", 'A' + (int)l)
                                      : qx_say(m->in->doc, "%zu", l + 1);
            qx_scene_bar(m->s,
                         LEFT,
                         y - 9.0,
                         LEFT + 5.0,
                         y + 1.0,
                         (qx_pen){.fill = qx_ink_of_level(l)});
            y = qx_scene_lines(
                m->s,
                LEFT + 11.0,
                y,
                room - 12.0,
                15.0,
                qx_say(
                    m->in->doc,
                    "%s  %s",
                    code,
                    qx_words_level(m->in->doc, p, treatment->name, treatment->level[l])),
                qx_writing_soft);
        }
    }
    return qx_scene_lines(
        m->s,
        LEFT,
        y,
        room - 2.0,
        15.0,
        "Dot: trunk of a tree in the trial; beside it what it was given, "
        "its label and, at the right, its block. Ring: takes no part. "
        "Cross: missing.",
        qx_writing_soft);
}

static void draw(const qx_chart_input *in, qx_scene *s)
{
    map m;
    if (!measure(in, &m)) {
        qx_scene_nothing(s,
                         in->field == NULL || in->field->layout->stand == NULL
                             ? "Without a list of trees there is no map."
                             : "The orchard has too many places for a map.");
        return;
    }
    m.s = s;
    fit_cells(&m);
    draw_axes(&m);
    draw_others(&m);
    for (size_t i = 0; i < m.f->layout->placed_count; i++) {
        if (!isnan(m.f->layout->stand[i].row)) {
            draw_tree(&m, i);
        }
    }
    draw_compass(&m);
    s->height = draw_legend(&m, panel_bottom(&m, panels(&m) - 1) + FOOT);
}

static const char *caption(const qx_chart_input *in)
{
    return in->field == NULL ? "Map of the orchard"
                             : qx_say(in->doc, "Map: %s", in->field->protocol->title);
}

static const char *describe(const qx_chart_input *in)
{
    map m;
    if (!measure(in, &m)) {
        return "There is no map.";
    }
    const char *text = "Map of the orchard, row by row.";
    for (size_t i = 0; i < m.f->layout->placed_count; i++) {
        const qx_stand *stand = &m.f->layout->stand[i];
        if (!isnan(stand->row)) {
            text = qx_say(in->doc,
                          "%s Row %s, place %.0f, tree %s: block %s, %s.",
                          text,
                          row_name(&m, stand->row),
                          stand->place,
                          m.f->layout->placed[i].label,
                          block_of(&m, i),
                          code_of(&m, i));
        }
    }
    return text;
}

const qx_chart_kind qx_chart_map = {.key = "map",
                                    .title = "Map of the orchard",
                                    .suits = suits,
                                    .draw = draw,
                                    .describe = describe,
                                    .caption = caption};

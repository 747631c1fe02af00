/* report/scene.h - a picture as marks without a format: lines, bars, dots, paths, texts.
 *
 * Paper units, y downwards, (0, 0) at the upper left. A chart draws a scene; a writer
 * (svg.h) turns it into a file. Like qx_text, a scene that met an allocation failure
 * remembers it, and is asked once at the end. */
#ifndef QX_REPORT_SCENE_H
#define QX_REPORT_SCENE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/array.h"
#include "report/palette.h"

/* Width of every chart: readable on a telephone, two side by side on a page. */
#define QX_SCENE_WIDTH 360.0

typedef enum {
    QX_MARK_LINE, /* (x, y) to (x2, y2) */
    QX_MARK_BAR,  /* rectangle between the two corners */
    QX_MARK_DOT,  /* centre (x, y), radius x2; shape */
    QX_MARK_PATH, /* joined points */
    QX_MARK_TEXT  /* base line at (x, y) */
} qx_mark_kind;

typedef enum {
    QX_SHAPE_ROUND,
    QX_SHAPE_SQUARE,
    QX_SHAPE_DIAMOND,
    QX_SHAPE_TRIANGLE
} qx_shape;
typedef enum { QX_FROM_START, QX_FROM_MIDDLE, QX_FROM_END } qx_anchor;

typedef struct qx_pen {
    qx_ink fill, stroke;
    double width; /* of the stroke */
    bool dashed, faint;
} qx_pen;

typedef struct qx_mark {
    qx_mark_kind kind;
    double x, y, x2, y2;
    qx_pen pen;
    qx_shape shape;
    size_t count;     /* path: points */
    const double *at; /* path: 2 x count, x y x y ... */
    const char *text;
    double size;
    qx_anchor anchor;
    bool bold;
    bool upward; /* text that runs upwards */
} qx_mark;

typedef struct qx_scene {
    qx_arena *arena;
    double width, height;
    const char *title, *description; /* text alternative */
    qx_array mark;
    bool failed;
} qx_scene;

/* NULL: no memory. Title and description are set by qx_chart_draw. */
qx_scene *qx_scene_new(qx_arena *arena, double width, double height);

void qx_scene_line(qx_scene *s, double x, double y, double x2, double y2, qx_pen pen);
void qx_scene_bar(qx_scene *s, double x, double y, double x2, double y2, qx_pen pen);
void qx_scene_dot(qx_scene *s, double x, double y, double r, qx_shape shape, qx_pen pen);
void qx_scene_path(qx_scene *s, size_t count, const double at[], qx_pen pen);

typedef struct qx_writing {
    double size;
    qx_anchor anchor;
    qx_ink ink;
    bool bold, upward;
} qx_writing;

/* The text is copied; one that is wider than `room` is shortened with an ellipsis. */
void qx_scene_text(
    qx_scene *s, double x, double y, double room, const char *text, qx_writing how);

/* The same in as many lines as it takes, broken at spaces, `high` apart; gives the base line
 * that would come next. Words wider than `room` are shortened. */
double qx_scene_lines(qx_scene *s,
                      double x,
                      double y,
                      double room,
                      double high,
                      const char *text,
                      qx_writing how);

/* A framed sentence in place of a picture: there is nothing to draw, and it says why. */
void qx_scene_nothing(qx_scene *s, const char *why);

/* Remembers that memory ran out when `pointer` is NULL; gives it back. */
const char *qx_scene_hold(qx_scene *s, const char *pointer);

#endif

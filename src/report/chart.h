/* report/chart.h - contract of a chart, and the list (charts.def).
 *
 * A chart looks at findings and puts marks on a scene. It never computes statistics. When
 * there is nothing to draw it says so in a sentence on the scene. Each use of colour is
 * doubled by position or by text. To add one: a file chart_<key>.c with a descriptor
 * qx_chart_<key>, a line in charts.def, a line in meson.build. */
#ifndef QX_REPORT_CHART_H
#define QX_REPORT_CHART_H

#include "findings/findings.h"
#include "report/axis.h"
#include "report/doc.h"
#include "report/scene.h"

/* Rows of means or differences in one chart; more go into further charts. */
#define QX_CHART_ROWS 20

typedef struct qx_chart_input {
    qx_doc *doc; /* for texts */
    const qx_findings *findings;
    const qx_result *result; /* NULL for the layout */
    const char *term;        /* means, trend, differences; else NULL */
    size_t first, count;     /* part of the term's means or differences */
    /* plans only: what stands above is NULL then */
    const struct qx_planned *planned;
    const struct qx_plan_family *family;
    /* layouts only */
    const struct qx_field *field;
} qx_chart_input;

typedef struct qx_chart_kind {
    const char *key;
    const char *title;
    /* Has the input what the chart shows? A chart is also drawn without: it says so. */
    bool (*suits)(const qx_chart_input *input);
    void (*draw)(const qx_chart_input *input, qx_scene *scene);
    /* The text alternative: what the picture shows, with its numbers. */
    const char *(*describe)(const qx_chart_input *input);
    const char *(*caption)(const qx_chart_input *input);
} qx_chart_kind;

#define X(key) extern const qx_chart_kind qx_chart_##key;
#include "report/charts.def"
#undef X

size_t qx_chart_count(void);
const qx_chart_kind *qx_chart_at(size_t i);

/* Draws into a new scene in the document's arena; NULL: no memory. */
const qx_scene *qx_chart_draw(const qx_chart_kind *kind, const qx_chart_input *input);

/* Shared by the charts: a frame with ticks and grid across (values to the right). */
void qx_chart_across(
    qx_scene *s, const qx_axis *axis, const qx_scale *x, double top, double bottom);

/* The same for values upwards, between left and right. */
void qx_chart_upwards(
    qx_scene *s, const qx_axis *axis, const qx_scale *y, double left, double right);

/* Room left of the frame for these labels and an upward title. */
double qx_chart_left(const qx_axis *axis);

/* "residual (cm)": a title with its unit. */
const char *qx_chart_title(qx_doc *doc, const char *what, const qx_result *result);

/* Shift of the k-th raw point from the middle of its row, -1 to 1: even, not random. */
double qx_chart_shift(size_t k);

extern const qx_writing qx_writing_label, qx_writing_soft, qx_writing_tick;

#endif

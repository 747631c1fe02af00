/* report/doc.h - a document as a list of nodes without a format: what a report says, in the
 * order in which it is read. doc_*.c write it, render_*.c turn it into a file.
 *
 * A heading opens a section that lasts until the next heading of its level or above.
 * Texts are plain UTF-8, never marked up; whoever renders escapes them. Like qx_text, a
 * document that met an allocation failure remembers it, and is asked once at the end. */
#ifndef QX_REPORT_DOC_H
#define QX_REPORT_DOC_H

#include <stdbool.h>
#include <stddef.h>

#include "base/array.h"
#include "base/attr.h"
#include "report/scene.h"

#define QX_COLUMNS_MOST 16

typedef struct qx_doc_row {
    const char *group;       /* a line of its own above the rows that follow; else NULL */
    bool summary;            /* below a rule: SED, tests */
    const char *const *cell; /* column_count texts; NULL in a group line */
} qx_doc_row;

typedef struct qx_doc_table {
    const char *caption;
    size_t column_count;
    const char *head[QX_COLUMNS_MOST]; /* the first column heads the rows */
    bool number[QX_COLUMNS_MOST];      /* set to the right */
    qx_array row;                      /* qx_doc_row */
    qx_array foot;                     /* const char *: notes below the table */
} qx_doc_table;

typedef enum {
    QX_NODE_HEADING,
    QX_NODE_PARAGRAPH,
    QX_NODE_FINDING,     /* a verdict: mark and sentence */
    QX_NODE_NOTE,        /* what a reader should know about the data or the analysis */
    QX_NODE_CAUTION,     /* what a reader must know before acting */
    QX_NODE_DEFINITIONS, /* terms and their texts */
    QX_NODE_TABLE,
    QX_NODE_CHART
} qx_node_kind;

typedef struct qx_doc_node {
    qx_node_kind kind;
    int level;        /* heading: 2, 3 or 4 (1 is the document's title) */
    const char *id;   /* heading of level 2: identifier, letters and hyphens */
    const char *mark; /* finding: the verdict in one word */
    const char *text;
    size_t count; /* definitions */
    const char *const *term;
    const char *const *meaning;
    const qx_doc_table *table;
    const qx_scene *scene;
} qx_doc_node;

typedef struct qx_doc {
    qx_arena *arena;
    const char *title, *question; /* as the user wrote them, or "" */
    const char *warning;          /* shown above everything else, or NULL */
    const char *maker;            /* program and version */
    qx_array node;                /* qx_doc_node */
    bool failed;
} qx_doc;

qx_doc *qx_doc_new(qx_arena *arena); /* NULL: no memory */

/* A text in the document's arena; "" when there is no memory (remembered). */
const char *qx_say(qx_doc *doc, const char *format, ...) QX_PRINTF(2, 3);

/* The text itself, or "" (remembered) when it is NULL. */
const char *qx_said(qx_doc *doc, const char *text);

void qx_doc_heading(qx_doc *doc, int level, const char *id, const char *text);
void qx_doc_add(qx_doc *doc, qx_node_kind kind, const char *text);
void qx_doc_finding(qx_doc *doc, const char *mark, const char *text);
void qx_doc_chart(qx_doc *doc, const qx_scene *scene);

/* One term; joins the list if the last node is one. */
void qx_doc_define(qx_doc *doc, const char *term, const char *meaning);

/* A table at the end of the document, to be filled; NULL: no memory (remembered). */
qx_doc_table *qx_doc_table_new(qx_doc *doc, const char *caption);
void qx_table_column(qx_doc_table *t, const char *head, bool number);
/* Cells to fill, all "" at first; NULL: no memory (remembered). */
const char **qx_table_row(qx_doc *doc, qx_doc_table *t, bool summary);
void qx_table_group(qx_doc *doc, qx_doc_table *t, const char *text);
void qx_table_foot(qx_doc *doc, qx_doc_table *t, const char *text);

#endif

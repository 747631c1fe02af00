/* report/render_csv.c - the document as RFC 4180: tables as they are, whatever stands
 * between them as lines of one field, so that a spreadsheet opens all of it. Minus signs
 * become the hyphen that spreadsheets read as a number. */
#include <string.h>

#include "report/render.h"

#define MINUS "\xe2\x88\x92"

static void field(qx_writer *w, const char *text)
{
    char part[400];
    while (strstr(text, MINUS) != NULL && strlen(text) < sizeof part) {
        const size_t at = (size_t)(strstr(text, MINUS) - text);
        char fresh[400];
        memcpy(fresh, text, at);
        fresh[at] = '-';
        memcpy(fresh + at + 1, text + at + 3, strlen(text + at + 3) + 1);
        memcpy(part, fresh, strlen(fresh) + 1);
        text = part;
    }
    qx_text_csv(w->out, text);
}

static void line(qx_writer *w, const char *text)
{
    field(w, text);
    qx_text_add(w->out, "\r\n");
}

static void begin(qx_writer *w)
{
    if (w->doc->warning != NULL) {
        line(w, w->doc->warning);
    }
    line(w, w->doc->title);
}

static void words(qx_writer *w, const qx_doc_node *node)
{
    line(w, node->text);
}

static void finding(qx_writer *w, const qx_doc_node *node)
{
    field(w, node->mark);
    qx_text_add(w->out, ",");
    line(w, node->text);
}

static void definitions(qx_writer *w, const qx_doc_node *node)
{
    for (size_t i = 0; i < node->count; i++) {
        field(w, node->term[i]);
        qx_text_add(w->out, ",");
        line(w, node->meaning[i]);
    }
}

static void cells(qx_writer *w, const qx_doc_table *t, const char *const cell[])
{
    for (size_t c = 0; c < t->column_count; c++) {
        qx_text_add(w->out, c == 0 ? "" : ",");
        field(w, cell[c]);
    }
    qx_text_add(w->out, "\r\n");
}

static void table(qx_writer *w, const qx_doc_node *node)
{
    const qx_doc_table *t = node->table;
    line(w, t->caption);
    cells(w, t, t->head);
    for (size_t i = 0; i < t->row.count; i++) {
        const qx_doc_row *row = qx_array_at(&t->row, i);
        if (row->group != NULL) {
            line(w, row->group);
        } else {
            cells(w, t, row->cell);
        }
    }
    for (size_t i = 0; i < t->foot.count; i++) {
        const char *const *foot = qx_array_at(&t->foot, i);
        line(w, *foot);
    }
}

static void chart(qx_writer *w, const qx_doc_node *node)
{
    field(w, node->scene->title);
    qx_text_add(w->out, ",");
    line(w, node->scene->description);
}

static void end(qx_writer *w)
{
    line(w, w->doc->maker);
}

const qx_renderer qx_renderer_csv = {.key = "csv",
                                     .title = "Tables for a spreadsheet",
                                     .mime = "text/csv; charset=utf-8",
                                     .extension = "csv",
                                     .begin = begin,
                                     .heading = words,
                                     .paragraph = words,
                                     .finding = finding,
                                     .note = words,
                                     .caution = words,
                                     .definitions = definitions,
                                     .table = table,
                                     .chart = chart,
                                     .end = end};

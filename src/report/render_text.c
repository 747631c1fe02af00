#include "report/render_text.h"

#include <string.h>

#include "report/render.h"

#define WIDTH 80

static void repeat(qx_text *out, const char *what, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        qx_text_add(out, what);
    }
}

/* Words in lines of at most WIDTH, `first` before the first, `rest` before the others. */
static void wrapped(qx_text *out, const char *first, const char *rest, const char *text)
{
    size_t column = qx_utf8_length(first);
    bool empty = true;
    qx_text_add(out, first);
    while (*text != '\0') {
        char word[256];
        size_t length = strcspn(text, " \n\t\r");
        const size_t cut = length < sizeof word ? length : sizeof word - 1;
        memcpy(word, text, cut);
        word[cut] = '\0';
        const size_t wide = qx_utf8_length(word);
        if (length > 0 && !empty && column + 1 + wide > WIDTH) {
            qx_text_printf(out, "\n%s", rest);
            column = qx_utf8_length(rest);
            empty = true;
        }
        if (length > 0) {
            qx_text_add(out, empty ? "" : " ");
            qx_text_add_bytes(out, text, length);
            column += wide + (empty ? 0 : 1);
            empty = false;
        }
        text += length;
        text += *text == '\0' ? 0 : 1;
    }
    qx_text_add(out, "\n");
}

static void begin(qx_writer *w)
{
    if (w->doc->warning != NULL) {
        wrapped(w->out, "! ", "! ", w->doc->warning);
        qx_text_add(w->out, "\n");
    }
    wrapped(w->out, "", "", w->doc->title);
    const size_t wide = qx_utf8_length(w->doc->title);
    repeat(w->out, "=", wide < WIDTH ? wide : WIDTH);
    qx_text_add(w->out, "\n");
}

static void heading(qx_writer *w, const qx_doc_node *node)
{
    qx_text_add(w->out, "\n");
    if (node->level == 2) {
        qx_text_add(w->out, "\n");
    }
    wrapped(w->out, "", "", node->text);
    if (node->level <= 3) {
        const size_t wide = qx_utf8_length(node->text);
        repeat(w->out, node->level == 2 ? "=" : "-", wide < WIDTH ? wide : WIDTH);
        qx_text_add(w->out, "\n");
    }
}

static void paragraph(qx_writer *w, const qx_doc_node *node)
{
    wrapped(w->out, "", "", node->text);
}

static void finding(qx_writer *w, const qx_doc_node *node)
{
    qx_text_printf(w->out, "  [%s]\n", node->mark);
    wrapped(w->out, "    ", "    ", node->text);
}

static void note(qx_writer *w, const qx_doc_node *node)
{
    wrapped(w->out, "  Note: ", "        ", node->text);
}

static void caution(qx_writer *w, const qx_doc_node *node)
{
    wrapped(w->out, "  ! ", "    ", node->text);
}

static void definitions(qx_writer *w, const qx_doc_node *node)
{
    for (size_t i = 0; i < node->count; i++) {
        qx_text_printf(w->out, "  %s: ", node->term[i]);
        wrapped(w->out, "", "      ", node->meaning[i]);
    }
}

static void cell(qx_text *out, const char *text, size_t width, bool right, bool last)
{
    const size_t wide = qx_utf8_length(text);
    const size_t fill = wide < width ? width - wide : 0;
    repeat(out, " ", right ? fill : 0);
    qx_text_add(out, text);
    repeat(out, " ", right || last ? 0 : fill);
    qx_text_add(out, last ? "\n" : "  ");
}

static void widths(const qx_doc_table *t, size_t width[QX_COLUMNS_MOST])
{
    for (size_t c = 0; c < t->column_count; c++) {
        width[c] = qx_utf8_length(t->head[c]);
        for (size_t i = 0; i < t->row.count; i++) {
            const qx_doc_row *row = qx_array_at(&t->row, i);
            const size_t wide = row->cell == NULL ? 0 : qx_utf8_length(row->cell[c]);
            width[c] = wide > width[c] ? wide : width[c];
        }
    }
}

static void table_rows(qx_text *out, const qx_doc_table *t, const size_t width[])
{
    for (size_t i = 0; i < t->row.count; i++) {
        const qx_doc_row *row = qx_array_at(&t->row, i);
        if (row->group != NULL) {
            qx_text_printf(out, "  %s\n", row->group);
            continue;
        }
        qx_text_add(out, "  ");
        for (size_t c = 0; c < t->column_count; c++) {
            cell(out, row->cell[c], width[c], t->number[c], c + 1 == t->column_count);
        }
    }
}

static void table(qx_writer *w, const qx_doc_node *node)
{
    const qx_doc_table *t = node->table;
    size_t width[QX_COLUMNS_MOST] = {0};
    size_t all = 0;
    widths(t, width);
    qx_text_add(w->out, "\n");
    wrapped(w->out, "  ", "  ", t->caption);
    qx_text_add(w->out, "  ");
    for (size_t c = 0; c < t->column_count; c++) {
        cell(w->out, t->head[c], width[c], t->number[c], c + 1 == t->column_count);
        all += width[c] + (c > 0 ? 2 : 0);
    }
    qx_text_add(w->out, "  ");
    repeat(w->out, "-", all);
    qx_text_add(w->out, "\n");
    table_rows(w->out, t, width);
    for (size_t i = 0; i < t->foot.count; i++) {
        const char *const *foot = qx_array_at(&t->foot, i);
        wrapped(w->out, "  ", "  ", *foot);
    }
}

static void chart(qx_writer *w, const qx_doc_node *node)
{
    qx_text_add(w->out, "\n");
    wrapped(w->out, "  Picture: ", "  ", node->scene->title);
    wrapped(w->out, "  ", "  ", node->scene->description);
}

static void end(qx_writer *w)
{
    qx_text_printf(w->out, "\n%s\n", w->doc->maker);
}

const qx_renderer qx_renderer_text = {.key = "text",
                                      .title = "Plain text",
                                      .mime = "text/plain; charset=utf-8",
                                      .extension = "txt",
                                      .begin = begin,
                                      .heading = heading,
                                      .paragraph = paragraph,
                                      .finding = finding,
                                      .note = note,
                                      .caution = caution,
                                      .definitions = definitions,
                                      .table = table,
                                      .chart = chart,
                                      .end = end};

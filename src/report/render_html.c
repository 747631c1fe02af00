/* report/render_html.c - the document as one HTML file (WHATWG HTML): landmarks, headings in
 * order, captions and scopes, no script. The content security policy allows nothing but the
 * style sheet inside, by its SHA-256 (W3C Content Security Policy Level 3). */
#include <string.h>

#include "base/digest.h"
#include "report/html_style.h"
#include "report/render.h"
#include "report/svg.h"

#define TELEPHONE   44 /* letters across, at 360 to 400 px */
#define COLUMN_GAP  2
#define SHORT_TABLE 24 /* rows that are kept on one sheet of paper */

/* Five trees, four in a square and one in its middle. */
static const char mark[] =
    "<svg class=\"mark\" viewBox=\"0 0 24 24\" aria-hidden=\"true\">"
    "<g class=\"f-main\"><circle cx=\"4\" cy=\"4\" r=\"3\"/>"
    "<circle cx=\"20\" cy=\"4\" r=\"3\"/><circle cx=\"4\" cy=\"20\" r=\"3\"/>"
    "<circle cx=\"20\" cy=\"20\" r=\"3\"/></g>"
    "<circle class=\"f-accent\" cx=\"12\" cy=\"12\" r=\"3\"/></svg>";

static unsigned hex(char c)
{
    return c <= '9' ? (unsigned)(c - '0') : (unsigned)(c - 'a') + 10U;
}

/* The 32 bytes that 64 hexadecimal digits stand for, as base64 (RFC 4648). */
static void add_base64(qx_text *out, const char digits[65])
{
    static const char letter[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    unsigned char byte[33] = {0};
    for (size_t i = 0; i < 32; i++) {
        byte[i] = (unsigned char)(16U * hex(digits[2 * i]) + hex(digits[2 * i + 1]));
    }
    for (size_t i = 0; i < 33; i += 3) {
        const unsigned three =
            ((unsigned)byte[i] << 16U) | ((unsigned)byte[i + 1] << 8U) | byte[i + 2];
        const bool last = i == 30; /* 32 = 10 x 3 + 2 */
        const char four[5] = {letter[(three >> 18U) & 63U],
                              letter[(three >> 12U) & 63U],
                              letter[(three >> 6U) & 63U],
                              (char)(last ? '=' : letter[three & 63U]),
                              '\0'};
        qx_text_add(out, four);
    }
}

static void head(qx_writer *w, const char *style, size_t length)
{
    char digest[65];
    qx_digest(style, length, digest);
    qx_text_add(w->out,
                "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src "
                "'none'; style-src 'sha256-");
    add_base64(w->out, digest);
    qx_text_add(w->out,
                "'; base-uri 'none'; form-action 'none'\">\n"
                "<meta name=\"viewport\" content=\"width=device-width, "
                "initial-scale=1\">\n"
                "<meta name=\"color-scheme\" content=\"light dark\">\n"
                "<meta name=\"referrer\" content=\"no-referrer\">\n<title>");
    qx_text_html(w->out, w->doc->title);
    qx_text_add(w->out, "</title>\n<style>");
    qx_text_add_bytes(w->out, style, length);
    qx_text_add(w->out, "</style>\n</head>\n<body>\n");
}

static void contents(qx_writer *w)
{
    qx_text_add(w->out, "<nav aria-label=\"Contents\">\n<ul>\n");
    for (size_t i = 0; i < w->doc->node.count; i++) {
        const qx_doc_node *n = qx_array_at(&w->doc->node, i);
        if (n->kind == QX_NODE_HEADING && n->id != NULL) {
            qx_text_printf(w->out, "<li><a href=\"#%s\">", n->id);
            qx_text_html(w->out, n->text);
            qx_text_add(w->out, "</a></li>\n");
        }
    }
    qx_text_add(w->out, "</ul>\n</nav>\n");
}

static void begin(qx_writer *w)
{
    qx_text *style = qx_text_new(w->doc->arena);
    if (style == NULL) {
        qx_text_fail(w->out);
        return;
    }
    qx_html_style(style);
    if (qx_text_failed(style)) {
        qx_text_fail(w->out);
        return;
    }
    head(w, qx_text_get(style), qx_text_length(style));
    qx_text_add(w->out,
                "<a class=\"skip\" href=\"#answer\">Skip to the answer</a>\n<header>\n"
                "<p class=\"maker\">");
    qx_text_add(w->out, mark);
    qx_text_add(w->out, "<span>");
    qx_text_html(w->out, w->doc->maker);
    qx_text_add(w->out, " \xc2\xb7 trial report</span></p>\n<h1>");
    qx_text_html(w->out, w->doc->title);
    qx_text_add(w->out, "</h1>\n");
    if (w->doc->warning != NULL) {
        qx_text_add(w->out, "<p class=\"warning\" role=\"note\">");
        qx_text_html(w->out, w->doc->warning);
        qx_text_add(w->out, "</p>\n");
    }
    qx_text_add(w->out, "</header>\n");
    contents(w);
    qx_text_add(w->out, "<main>\n");
}

/* Closes what groups nodes that follow each other. */
static void regroup(qx_writer *w, qx_node_kind next)
{
    if (w->in_charts && next != QX_NODE_CHART) {
        qx_text_add(w->out, "</div>\n");
        w->in_charts = false;
    }
    if (w->in_findings && next != QX_NODE_FINDING) {
        qx_text_add(w->out, "</ul>\n");
        w->in_findings = false;
    }
}

static void heading(qx_writer *w, const qx_doc_node *node)
{
    regroup(w, node->kind);
    if (node->level == 2) {
        qx_text_add(w->out, w->level >= 2 ? "</section>\n" : "");
        qx_text_printf(w->out,
                       "<section aria-labelledby=\"%s\">\n<h2 id=\"%s\" tabindex=\"-1\">",
                       node->id,
                       node->id);
    } else {
        qx_text_printf(w->out, "<h%d>", node->level);
    }
    qx_text_html(w->out, node->text);
    qx_text_printf(w->out, "</h%d>\n", node->level);
    w->level = node->level;
}

static void
boxed(qx_writer *w, const qx_doc_node *node, const char *open, const char *end)
{
    regroup(w, node->kind);
    qx_text_add(w->out, open);
    qx_text_html(w->out, node->text);
    qx_text_add(w->out, end);
}

static void paragraph(qx_writer *w, const qx_doc_node *node)
{
    boxed(w, node, "<p>", "</p>\n");
}

static void note(qx_writer *w, const qx_doc_node *node)
{
    boxed(w, node, "<p class=\"note\"><strong>Note.</strong> ", "</p>\n");
}

static void caution(qx_writer *w, const qx_doc_node *node)
{
    boxed(w, node, "<p class=\"caution\"><strong>Mind.</strong> ", "</p>\n");
}

static void finding(qx_writer *w, const qx_doc_node *node)
{
    const bool shown = strcmp(node->mark, "higher") == 0 ||
                       strcmp(node->mark, "lower") == 0 ||
                       strcmp(node->mark, "trend") == 0;
    regroup(w, node->kind);
    if (!w->in_findings) {
        qx_text_add(w->out, "<ul class=\"findings\">\n");
        w->in_findings = true;
    }
    qx_text_add(w->out, shown ? "<li class=\"shown\">" : "<li>");
    qx_text_add(w->out, "<span class=\"verdict\">");
    qx_text_html(w->out, node->mark);
    qx_text_add(w->out, "</span> <span class=\"finding\">");
    qx_text_html(w->out, node->text);
    qx_text_add(w->out, "</span></li>\n");
}

static void definitions(qx_writer *w, const qx_doc_node *node)
{
    regroup(w, node->kind);
    qx_text_add(w->out, "<dl>\n");
    for (size_t i = 0; i < node->count; i++) {
        qx_text_add(w->out, "<dt>");
        qx_text_html(w->out, node->term[i]);
        qx_text_add(w->out, "</dt><dd>");
        qx_text_html(w->out, node->meaning[i]);
        qx_text_add(w->out, "</dd>\n");
    }
    qx_text_add(w->out, "</dl>\n");
}

static void table_head(qx_writer *w, const qx_doc_table *t)
{
    qx_text_add(w->out, "<thead>\n<tr>");
    for (size_t c = 0; c < t->column_count; c++) {
        qx_text_printf(
            w->out, "<th scope=\"col\"%s>", t->number[c] ? " class=\"n\"" : "");
        qx_text_html(w->out, t->head[c]);
        qx_text_add(w->out, "</th>");
    }
    qx_text_add(w->out, "</tr>\n</thead>\n<tbody>\n");
}

static void table_row(qx_writer *w, const qx_doc_table *t, const qx_doc_row *row)
{
    if (row->group != NULL) {
        qx_text_printf(w->out,
                       "<tr class=\"group\"><th scope=\"rowgroup\" colspan=\"%zu\">",
                       t->column_count);
        qx_text_html(w->out, row->group);
        qx_text_add(w->out, "</th></tr>\n");
        return;
    }
    qx_text_printf(w->out, "<tr%s>", row->summary ? " class=\"sum\"" : "");
    for (size_t c = 0; c < t->column_count; c++) {
        qx_text_add(w->out,
                    c == 0         ? "<th scope=\"row\">"
                    : t->number[c] ? "<td class=\"n\">"
                                   : "<td>");
        qx_text_html(w->out, row->cell[c]);
        qx_text_add(w->out, c == 0 ? "</th>" : "</td>");
    }
    qx_text_add(w->out, "</tr>\n");
}

/* Letters in the longest word of a cell, or (whole) in all of it. */
static size_t longest(const char *text, bool whole)
{
    size_t most = 0, here = 0;
    for (; *text != '\0'; text++) {
        here += ((unsigned char)*text & 0xc0U) != 0x80U ? 1 : 0; /* not inside a letter */
        here = *text == ' ' && !whole ? 0 : here;
        most = here > most ? here : most;
    }
    return most;
}

/* Letters that a column asks for: numbers are not broken, words are. */
static size_t column_width(const qx_doc_table *t, size_t c)
{
    size_t most = longest(t->head[c], false);
    for (size_t i = 0; i < t->row.count; i++) {
        const qx_doc_row *row = qx_array_at(&t->row, i);
        if (row->group == NULL) {
            const size_t here = longest(row->cell[c], t->number[c]);
            most = here > most ? here : most;
        }
    }
    return most;
}

/* Does a telephone cut it? */
static bool is_wide(const qx_doc_table *t)
{
    size_t letters = 0;
    for (size_t c = 0; c < t->column_count; c++) {
        letters += column_width(t, c) + COLUMN_GAP;
    }
    return letters > TELEPHONE;
}

static void table(qx_writer *w, const qx_doc_node *node)
{
    const qx_doc_table *t = node->table;
    const size_t number = ++w->tables;
    regroup(w, node->kind);
    /* Focusable, so that a keyboard can scroll a table that is wider than the screen. */
    qx_text_printf(
        w->out,
        "<div class=\"table%s\" role=\"region\" tabindex=\"0\" "
        "aria-labelledby=\"table-%zu\">\n<table>\n<caption id=\"table-%zu\"><span>",
        t->row.count <= SHORT_TABLE ? " short" : "",
        number,
        number);
    qx_text_printf(w->out, "Table %zu. ", number);
    qx_text_html(w->out, t->caption);
    if (is_wide(t)) { /* shown on small screens only */
        qx_text_add(w->out,
                    " <small class=\"swipe\">Scroll sideways for all of it.</small>");
    }
    qx_text_add(w->out, "</span></caption>\n");
    table_head(w, t);
    for (size_t i = 0; i < t->row.count; i++) {
        table_row(w, t, qx_array_at(&t->row, i));
    }
    qx_text_add(w->out, "</tbody>\n</table>\n</div>\n");
    for (size_t i = 0; i < t->foot.count; i++) {
        const char *const *foot = qx_array_at(&t->foot, i);
        qx_text_add(w->out, "<p class=\"foot\">");
        qx_text_html(w->out, *foot);
        qx_text_add(w->out, "</p>\n");
    }
}

static void chart(qx_writer *w, const qx_doc_node *node)
{
    char id[32] = "chart-";
    size_t at = sizeof "chart-" - 1;
    char digits[24];
    size_t count = 0;
    for (size_t n = ++w->charts; n > 0; n /= 10) {
        digits[count++] = (char)('0' + (int)(n % 10));
    }
    while (count > 0) {
        id[at++] = digits[--count];
    }
    id[at] = '\0';
    regroup(w, node->kind);
    if (!w->in_charts) {
        qx_text_add(w->out, "<div class=\"charts\">\n");
        w->in_charts = true;
    }
    qx_text_printf(w->out, "<figure>\n<figcaption>Figure %zu. ", w->charts);
    qx_text_html(w->out, node->scene->title);
    qx_text_add(w->out, "</figcaption>\n");
    qx_svg_write(w->out, node->scene, id, false);
    qx_text_add(w->out, "</figure>\n");
}

static void end(qx_writer *w)
{
    regroup(w, QX_NODE_HEADING);
    qx_text_add(w->out, w->level >= 2 ? "</section>\n" : "");
    qx_text_add(w->out, "</main>\n<footer>\n<p>Made by ");
    qx_text_html(w->out, w->doc->maker);
    qx_text_add(w->out,
                ". Everything on this page is in this one file.</p>\n</footer>\n</body>\n"
                "</html>\n");
}

const qx_renderer qx_renderer_html = {.key = "html",
                                      .title = "Page for reading and printing",
                                      .mime = "text/html; charset=utf-8",
                                      .extension = "html",
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

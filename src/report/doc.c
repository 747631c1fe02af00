#include "report/doc.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

qx_doc *qx_doc_new(qx_arena *arena)
{
    qx_doc *doc = qx_arena_alloc(arena, 1, sizeof *doc);
    if (doc != NULL) {
        doc->arena = arena;
        doc->title = "";
        doc->question = "";
        doc->maker = "";
        doc->node = (qx_array)QX_ARRAY(arena, sizeof(qx_doc_node));
    }
    return doc;
}

const char *qx_said(qx_doc *doc, const char *text)
{
    if (text == NULL) {
        doc->failed = true;
        return "";
    }
    return text;
}

const char *qx_say(qx_doc *doc, const char *format, ...)
{
    va_list list, again;
    va_start(list, format);
    va_copy(again, list);
    const int length = vsnprintf(NULL, 0, format, list);
    va_end(list);
    char *text = length < 0 ? NULL : qx_arena_alloc(doc->arena, (size_t)length + 1, 1);
    if (text != NULL) {
        (void)vsnprintf(text, (size_t)length + 1, format, again);
    }
    va_end(again);
    return qx_said(doc, text);
}

static void push(qx_doc *doc, qx_doc_node node)
{
    qx_doc_node *n = qx_array_push(&doc->node);
    if (n == NULL) {
        doc->failed = true;
        return;
    }
    *n = node;
}

void qx_doc_heading(qx_doc *doc, int level, const char *id, const char *text)
{
    push(doc,
         (qx_doc_node){.kind = QX_NODE_HEADING, .level = level, .id = id, .text = text});
}

void qx_doc_add(qx_doc *doc, qx_node_kind kind, const char *text)
{
    push(doc, (qx_doc_node){.kind = kind, .text = text});
}

void qx_doc_finding(qx_doc *doc, const char *mark, const char *text)
{
    push(doc, (qx_doc_node){.kind = QX_NODE_FINDING, .mark = mark, .text = text});
}

void qx_doc_chart(qx_doc *doc, const qx_scene *scene)
{
    if (scene == NULL || scene->failed) {
        doc->failed = true;
        return;
    }
    push(doc, (qx_doc_node){.kind = QX_NODE_CHART, .text = scene->title, .scene = scene});
}

static const char **longer(qx_doc *doc, const char *const old[], size_t count)
{
    const char **list = qx_arena_alloc(doc->arena, count + 1, sizeof *list);
    if (list == NULL) {
        doc->failed = true;
        return NULL;
    }
    for (size_t i = 0; i < count; i++) {
        list[i] = old[i];
    }
    return list;
}

void qx_doc_define(qx_doc *doc, const char *term, const char *meaning)
{
    qx_doc_node *last =
        doc->node.count > 0 ? qx_array_at(&doc->node, doc->node.count - 1) : NULL;
    if (last == NULL || last->kind != QX_NODE_DEFINITIONS) {
        push(doc, (qx_doc_node){.kind = QX_NODE_DEFINITIONS, .text = ""});
        if (doc->failed) {
            return;
        }
        last = qx_array_at(&doc->node, doc->node.count - 1);
    }
    const char **terms = longer(doc, last->term, last->count);
    const char **meanings = longer(doc, last->meaning, last->count);
    if (terms == NULL || meanings == NULL) {
        return;
    }
    terms[last->count] = term;
    meanings[last->count] = meaning;
    last->term = terms;
    last->meaning = meanings;
    last->count++;
}

qx_doc_table *qx_doc_table_new(qx_doc *doc, const char *caption)
{
    qx_doc_table *t = qx_arena_alloc(doc->arena, 1, sizeof *t);
    if (t == NULL) {
        doc->failed = true;
        return NULL;
    }
    t->caption = caption;
    t->row = (qx_array)QX_ARRAY(doc->arena, sizeof(qx_doc_row));
    t->foot = (qx_array)QX_ARRAY(doc->arena, sizeof(const char *));
    push(doc, (qx_doc_node){.kind = QX_NODE_TABLE, .text = caption, .table = t});
    return t;
}

void qx_table_column(qx_doc_table *t, const char *head, bool number)
{
    if (t != NULL && t->column_count < QX_COLUMNS_MOST) {
        t->head[t->column_count] = head;
        t->number[t->column_count++] = number;
    }
}

const char **qx_table_row(qx_doc *doc, qx_doc_table *t, bool summary)
{
    if (t == NULL) {
        return NULL;
    }
    const char **cell = qx_arena_alloc(doc->arena, QX_COLUMNS_MOST, sizeof *cell);
    qx_doc_row *row = cell == NULL ? NULL : qx_array_push(&t->row);
    if (row == NULL) {
        doc->failed = true;
        return NULL;
    }
    for (size_t i = 0; i < QX_COLUMNS_MOST; i++) {
        cell[i] = "";
    }
    *row = (qx_doc_row){.cell = cell, .summary = summary};
    return cell;
}

void qx_table_group(qx_doc *doc, qx_doc_table *t, const char *text)
{
    qx_doc_row *row = t == NULL ? NULL : qx_array_push(&t->row);
    if (row == NULL) {
        doc->failed = true;
        return;
    }
    *row = (qx_doc_row){.group = text};
}

void qx_table_foot(qx_doc *doc, qx_doc_table *t, const char *text)
{
    const char **foot = t == NULL ? NULL : qx_array_push(&t->foot);
    if (foot == NULL) {
        doc->failed = true;
        return;
    }
    *foot = text;
}

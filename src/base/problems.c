/* base/problems.c */
#include "base/problems.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "base/array.h"

struct qx_problems {
    qx_arena *arena;
    qx_array stored; /* qx_problem */
    qx_array notes;  /* qx_problem */
    size_t count;    /* all problems, stored or not */
};

qx_problems *qx_problems_new(qx_arena *arena)
{
    qx_problems *problems = qx_arena_alloc(arena, 1, sizeof *problems);
    if (problems != NULL) {
        problems->arena = arena;
        problems->stored = (qx_array)QX_ARRAY(arena, sizeof(qx_problem));
        problems->notes = (qx_array)QX_ARRAY(arena, sizeof(qx_problem));
    }
    return problems;
}

static QX_PRINTF(2, 0) char *print(qx_arena *arena, const char *format, va_list args)
{
    va_list again;
    va_copy(again, args);
    const int length = vsnprintf(NULL, 0, format, again);
    va_end(again);
    char *text = length < 0 ? NULL : qx_arena_alloc(arena, (size_t)length + 1, 1);
    if (text != NULL) {
        (void)vsnprintf(text, (size_t)length + 1, format, args);
    }
    return text;
}

/* Consecutive problems are of one file as a rule: its name is then not copied again. */
static const char *
file_name(const qx_problems *problems, const qx_array *list, const char *file)
{
    if (list->count > 0) {
        const qx_problem *last = qx_array_at(list, list->count - 1);
        if (strcmp(last->file, file) == 0) {
            return last->file;
        }
    }
    return qx_arena_copy(problems->arena, file);
}

static qx_status keep(qx_problems *problems, qx_array *list, qx_problem problem)
{
    problem.file = file_name(problems, list, problem.file == NULL ? "" : problem.file);
    if (problem.expected != NULL) {
        problem.expected = qx_arena_copy(problems->arena, problem.expected);
    }
    if (problem.file == NULL || problem.wrong == NULL || problem.expected == NULL) {
        return QX_E_NOMEM;
    }
    qx_problem *item = qx_array_push(list);
    if (item == NULL) {
        return QX_E_NOMEM;
    }
    *item = problem;
    return QX_OK;
}

qx_status qx_problem_add(qx_problems *problems,
                         const char *file,
                         qx_place at,
                         const char *expected,
                         const char *wrong,
                         ...)
{
    /* Counted first: input stays wrong even when there is no memory to say why. */
    problems->count++;
    if (problems->stored.count >= QX_PROBLEMS_MOST) {
        return QX_OK;
    }
    va_list args;
    va_start(args, wrong);
    const char *text = print(problems->arena, wrong, args);
    va_end(args);
    return keep(problems,
                &problems->stored,
                (qx_problem){file, at, text, expected == NULL ? "" : expected});
}

qx_status qx_problem_note(
    qx_problems *problems, const char *file, qx_place at, const char *format, ...)
{
    if (problems->notes.count >= QX_PROBLEMS_MOST) {
        return QX_OK;
    }
    va_list args;
    va_start(args, format);
    const char *text = print(problems->arena, format, args);
    va_end(args);
    return keep(problems, &problems->notes, (qx_problem){file, at, text, ""});
}

size_t qx_problems_count(const qx_problems *problems)
{
    return problems->count;
}

size_t qx_problems_stored(const qx_problems *problems)
{
    return problems->stored.count;
}

const qx_problem *qx_problems_get(const qx_problems *problems, size_t i)
{
    return qx_array_at(&problems->stored, i);
}

size_t qx_problems_notes(const qx_problems *problems)
{
    return problems->notes.count;
}

const qx_problem *qx_problems_get_note(const qx_problems *problems, size_t i)
{
    return qx_array_at(&problems->notes, i);
}

static bool comes_after(const qx_problem *a, const qx_problem *b)
{
    const int files = strcmp(a->file, b->file);
    if (files != 0) {
        return files > 0;
    }
    if (a->at.line != b->at.line) {
        return a->at.line > b->at.line;
    }
    return a->at.column > b->at.column;
}

/* Insertion: stable, and a reader finds problems nearly in order. */
void qx_problems_sort(qx_problems *problems)
{
    qx_problem *items = problems->stored.items;
    for (size_t i = 1; i < problems->stored.count; i++) {
        const qx_problem moved = items[i];
        size_t j = i;
        for (; j > 0 && comes_after(&items[j - 1], &moved); j--) {
            items[j] = items[j - 1];
        }
        items[j] = moved;
    }
}

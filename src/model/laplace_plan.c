/* model/laplace_plan.c - which random columns hang together, and the order of rows and
 * columns that follows. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/frame.h"
#include "model/laplace_inner.h"
#include "numeric/quad.h"

/* A D column and an E column that some row has both of. */
typedef struct meeting {
    size_t lead; /* place */
    uint32_t rest;
    size_t row; /* place */
    size_t term;
} meeting;

typedef struct sorting {
    size_t *first;  /* m + 1: first global column of each term */
    size_t *parent; /* q: union-find */
    size_t *set_of; /* q: set of the root */
    size_t *column_count, *lead_count, *row_count;
} sorting;

static qx_status check(qx_ctx *cx, const qx_laplace_problem *f)
{
    if (f->n == 0 || f->d == 0 || f->d > QX_LAPLACE_PREDICTORS_MOST ||
        f->random_count > QX_LAPLACE_TERMS_MOST || f->even > f->s) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "a likelihood of %zu rows, %zu predictors and %zu random terms is "
                       "not served",
                       f->n,
                       f->d,
                       f->random_count);
    }
    if (f->X.rows != f->n || f->X.cols != f->p) {
        return qx_fail(
            cx, QX_E_SHAPE, "X does not have %zu rows and %zu columns", f->n, f->p);
    }
    for (size_t k = 0; k < f->random_count; k++) {
        if (f->random[k].predictor >= f->d) {
            return qx_fail(cx, QX_E_ARG, "random term %zu acts on no predictor", k);
        }
        for (size_t i = 0; i < f->n; i++) {
            if (f->random[k].code[i] >= f->random[k].level_count) {
                return qx_fail(
                    cx, QX_E_ARG, "row %zu is in no unit of random term %zu", i, k);
            }
        }
    }
    if (f->quadrature > 1 && f->random_count > 1) {
        return qx_fail(cx,
                       QX_E_ARG,
                       "quadrature serves one random term; these are %zu",
                       f->random_count);
    }
    return QX_OK;
}

static size_t root_of(size_t parent[], size_t c)
{
    while (parent[c] != c) {
        parent[c] = parent[parent[c]];
        c = parent[c];
    }
    return c;
}

static size_t
global_column(const qx_laplace_problem *f, const sorting *s, size_t i, size_t k)
{
    return s->first[k] + f->random[k].code[i];
}

static qx_status find_sets(qx_ctx *cx, qx_laplace_plan *plan, sorting *s)
{
    const qx_laplace_problem *f = &plan->problem;
    const size_t m = f->random_count;
    QX_NEW(cx, s->first, m + 1);
    for (size_t k = 0; k < m; k++) {
        s->first[k + 1] = s->first[k] + f->random[k].level_count;
        if (f->random[k].level_count > f->random[plan->lead_term].level_count) {
            plan->lead_term = k;
        }
    }
    plan->q = s->first[m];
    QX_NEW(cx, s->parent, plan->q);
    for (size_t c = 0; c < plan->q; c++) {
        s->parent[c] = c;
    }
    for (size_t i = 0; m > 0 && i < f->n; i++) {
        for (size_t k = 1; k < m; k++) {
            const size_t a = root_of(s->parent, global_column(f, s, i, 0));
            const size_t b = root_of(s->parent, global_column(f, s, i, k));
            s->parent[a > b ? a : b] = a > b ? b : a;
        }
    }
    return QX_OK;
}

/* Numbers the sets by their first row and counts what each holds. */
static qx_status count_sets(qx_ctx *cx, qx_laplace_plan *plan, sorting *s)
{
    const qx_laplace_problem *f = &plan->problem;
    const size_t m = f->random_count;
    const size_t most = plan->q < f->n ? plan->q : f->n;
    bool *used;
    QX_NEW(cx, used, plan->q);
    QX_NEW(cx, s->set_of, plan->q);
    QX_NEW(cx, s->row_count, most + 1);
    QX_NEW(cx, s->column_count, most + 1);
    QX_NEW(cx, s->lead_count, most + 1);
    for (size_t c = 0; c < plan->q; c++) {
        s->set_of[c] = QX_NO_COLUMN;
    }
    for (size_t i = 0; i < f->n; i++) {
        const size_t root = m == 0 ? 0 : root_of(s->parent, global_column(f, s, i, 0));
        size_t set = m == 0 ? 0 : s->set_of[root];
        if (m == 0) {
            plan->set_count = 1;
        } else if (set == QX_NO_COLUMN) {
            set = s->set_of[root] = plan->set_count++;
        }
        s->row_count[set]++;
        for (size_t k = 0; k < m; k++) {
            const size_t c = global_column(f, s, i, k);
            if (!used[c]) {
                used[c] = true;
                s->column_count[set]++;
                s->lead_count[set] += k == plan->lead_term;
            }
        }
    }
    return QX_OK;
}

static size_t larger(size_t a, size_t b)
{
    return a > b ? a : b;
}

static qx_status make_sets(qx_ctx *cx,
                           qx_arena *arena,
                           qx_laplace_plan *plan,
                           const sorting *s,
                           qx_laplace_set **out)
{
    qx_laplace_set *set = NULL;
    size_t row = 0, column = 0;
    QX_NEW_IN(cx, arena, set, plan->set_count);
    for (size_t b = 0; b < plan->set_count; b++) {
        set[b].row = row;
        set[b].rows = s->row_count[b];
        set[b].column = column;
        set[b].columns = s->column_count[b];
        set[b].lead = s->lead_count[b];
        row += set[b].rows;
        column += set[b].columns;
        plan->most_rows = larger(plan->most_rows, set[b].rows);
        plan->most_columns = larger(plan->most_columns, set[b].columns);
        plan->most_rest = larger(plan->most_rest, set[b].columns - set[b].lead);
    }
    plan->set = *out = set;
    return QX_OK;
}

/* Rows by set, X and offset along with them. */
static qx_status sort_rows(qx_ctx *cx, qx_arena *arena, qx_laplace_plan *plan, sorting *s)
{
    const qx_laplace_problem *f = &plan->problem;
    size_t *row, *filled;
    double *x, *offset = NULL;
    QX_NEW_IN(cx, arena, row, f->n);
    QX_NEW_IN(cx, arena, x, f->n * f->p);
    QX_NEW(cx, filled, plan->set_count);
    if (f->offset != NULL) {
        QX_NEW_IN(cx, arena, offset, f->n * f->d);
    }
    for (size_t i = 0; i < f->n; i++) {
        const size_t b = f->random_count == 0
                             ? 0
                             : s->set_of[root_of(s->parent, global_column(f, s, i, 0))];
        const size_t at = plan->set[b].row + filled[b]++;
        row[at] = i;
        for (size_t j = 0; j < f->p; j++) {
            x[at * f->p + j] = QX_AT(f->X, i, j);
        }
        if (offset != NULL) {
            memcpy(&offset[at * f->d], &f->offset[i * f->d], f->d * sizeof *offset);
        }
    }
    plan->row = row;
    plan->x = x;
    plan->offset = offset;
    return QX_OK;
}

/* Places of the columns: in each set those of the lead term first, in order of rows. */
static qx_status
place_columns(qx_ctx *cx, qx_arena *arena, qx_laplace_plan *plan, const sorting *s)
{
    const qx_laplace_problem *f = &plan->problem;
    const size_t m = f->random_count;
    size_t *place;
    uint32_t *column;
    QX_NEW_IN(cx, arena, place, plan->q);
    QX_NEW_IN(cx, arena, column, f->n * m);
    for (size_t c = 0; c < plan->q; c++) {
        place[c] = QX_NO_COLUMN;
    }
    for (size_t b = 0; b < plan->set_count; b++) {
        const qx_laplace_set *set = &plan->set[b];
        size_t lead = 0, rest = set->lead;
        for (size_t j = set->row; j < set->row + set->rows; j++) {
            for (size_t k = 0; k < m; k++) {
                const size_t c = global_column(f, s, plan->row[j], k);
                if (place[c] == QX_NO_COLUMN) {
                    place[c] = set->column + (k == plan->lead_term ? lead++ : rest++);
                }
                column[j * m + k] = (uint32_t)(place[c] - set->column);
            }
        }
    }
    plan->place = place;
    plan->column = column;
    return QX_OK;
}

static int by_pair(const void *a, const void *b)
{
    const meeting *x = a, *y = b;
    if (x->lead != y->lead) {
        return x->lead < y->lead ? -1 : 1;
    }
    return x->rest < y->rest ? -1 : x->rest > y->rest;
}

/* Every D column with the E columns that it meets. */
static qx_status
list_meetings(qx_ctx *cx, qx_laplace_plan *plan, size_t *count, meeting **out)
{
    const size_t m = plan->problem.random_count;
    meeting *list = NULL;
    *count = 0;
    QX_NEW(cx, list, plan->problem.n * (m > 0 ? m - 1 : 0));
    for (size_t b = 0; b < plan->set_count; b++) {
        const qx_laplace_set *set = &plan->set[b];
        for (size_t j = set->row; j < set->row + set->rows; j++) {
            for (size_t k = 0; k < m; k++) {
                if (k != plan->lead_term) {
                    list[(*count)++] = (meeting){
                        .lead = set->column + plan->column[j * m + plan->lead_term],
                        .rest = plan->column[j * m + k] - (uint32_t)set->lead,
                        .row = j,
                        .term = k};
                }
            }
        }
    }
    qsort(list, *count, sizeof *list, by_pair);
    *out = list;
    return QX_OK;
}

/* Slots are counted inside their set. */
static void slots_of_sets(qx_laplace_plan *plan, qx_laplace_set set[], size_t slot[])
{
    const size_t m = plan->problem.random_count;
    for (size_t b = 0; b < plan->set_count; b++) {
        set[b].slot = plan->meet_start[set[b].column];
        set[b].slots = plan->meet_start[set[b].column + set[b].columns] - set[b].slot;
        plan->most_slots = larger(plan->most_slots, set[b].slots);
        for (size_t j = set[b].row; j < set[b].row + set[b].rows; j++) {
            for (size_t k = 0; k < m; k++) {
                slot[j * m + k] -= k == plan->lead_term ? 0 : set[b].slot;
            }
        }
    }
}

static qx_status
find_meetings(qx_ctx *cx, qx_arena *arena, qx_laplace_plan *plan, qx_laplace_set set[])
{
    const size_t m = plan->problem.random_count;
    size_t count, slots = 0, *slot, *start;
    uint32_t *meet;
    meeting *list = NULL;
    QX_TRY(list_meetings(cx, plan, &count, &list));
    QX_NEW_IN(cx, arena, slot, plan->problem.n * m);
    QX_NEW_IN(cx, arena, start, plan->q + 1);
    QX_NEW_IN(cx, arena, meet, count);
    for (size_t i = 0; i < count; i++) {
        if (i == 0 || by_pair(&list[i - 1], &list[i]) != 0) {
            meet[slots++] = list[i].rest;
        }
        start[list[i].lead + 1] = slots;
        slot[list[i].row * m + list[i].term] = slots - 1;
    }
    for (size_t c = 0; c < plan->q; c++) {
        start[c + 1] = larger(start[c], start[c + 1]);
    }
    plan->meet = meet;
    plan->meet_start = start;
    slots_of_sets(plan, set, slot);
    plan->slot = slot;
    return QX_OK;
}

static qx_status make_nodes(qx_ctx *cx, qx_arena *arena, qx_laplace_plan *plan)
{
    const size_t points = plan->problem.quadrature;
    double *node, *weight;
    if (points <= 1 || plan->problem.random_count == 0) {
        plan->problem.quadrature = 1;
        return QX_OK;
    }
    QX_NEW_IN(cx, arena, node, points);
    QX_NEW_IN(cx, arena, weight, points);
    QX_TRY(qx_gauss_hermite(cx, points, node, weight));
    for (size_t i = 0; i < points; i++) {
        weight[i] = log(weight[i]) + node[i] * node[i];
    }
    plan->node = node;
    plan->log_weight = weight;
    return QX_OK;
}

static qx_status make(qx_ctx *cx, qx_arena *arena, qx_laplace_plan *plan)
{
    sorting s = {0};
    qx_laplace_set *set = NULL;
    QX_TRY(find_sets(cx, plan, &s));
    QX_TRY(count_sets(cx, plan, &s));
    QX_TRY(make_sets(cx, arena, plan, &s, &set));
    QX_TRY(sort_rows(cx, arena, plan, &s));
    QX_TRY(place_columns(cx, arena, plan, &s));
    QX_TRY(find_meetings(cx, arena, plan, set));
    return make_nodes(cx, arena, plan);
}

qx_status qx_laplace_plan_make(qx_ctx *cx,
                               qx_arena *arena,
                               const qx_laplace_problem *problem,
                               const qx_laplace_plan **out)
{
    qx_laplace_plan *plan;
    qx_status status;
    QX_TRY(check(cx, problem));
    QX_NEW_IN(cx, arena, plan, 1);
    plan->problem = *problem;
    QX_SCRATCH(cx, status, make(cx, arena, plan));
    QX_TRY(status);
    *out = plan;
    return QX_OK;
}

size_t qx_laplace_length(const qx_laplace_problem *f)
{
    return f->d * f->p + f->random_count + f->s;
}

size_t qx_laplace_columns(const qx_laplace_plan *plan)
{
    return plan->q;
}

#include "store/tree_store.h"

#include <math.h>
#include <string.h>

#include "base/decimal.h"

qx_status qx_db_has(qx_ctx *cx, qx_db *db, const char *table, bool *out)
{
    static const char ask[] =
        "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?1";
    qx_statement *statement = NULL;
    QX_TRY(qx_db_statement(cx, db, ask, &statement));
    qx_bind_text(statement, 1, table);
    QX_TRY(qx_db_step(cx, db, statement, out));
    return *out ? qx_db_do(cx, db, statement) : QX_OK;
}

/* --- writing --- */

static qx_status write_list(qx_ctx *cx, qx_db *db, const qx_planting *planting)
{
    static const char add[] = "INSERT INTO tree_list (id, file, digest, text, reach_m)"
                              " VALUES (1, ?1, ?2, ?3, ?4)";
    const qx_trees *trees = planting->trees;
    qx_statement *statement = NULL;
    const char *reach = qx_arena_printf(qx_ctx_scratch(cx), "%.17g", planting->reach_m);
    if (reach == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the tree list");
    }
    QX_TRY(qx_db_statement(cx, db, add, &statement));
    qx_bind_text(statement, 1, trees->file);
    qx_bind_text(statement, 2, trees->digest);
    qx_bind_text(statement, 3, trees->text);
    qx_bind_text(statement, 4, reach);
    return qx_db_do(cx, db, statement);
}

/* Line of the list that has the tree at this place; places are told once only. */
static size_t line_of(const qx_trees *trees, const qx_stand *stand)
{
    for (size_t i = 0; i < trees->count; i++) {
        if (trees->tree[i].row == stand->row && trees->tree[i].place == stand->place) {
            return trees->tree[i].line;
        }
    }
    return 0;
}

qx_status qx_planting_write(qx_ctx *cx,
                            qx_db *db,
                            const qx_planting *planting,
                            const qx_layout *layout)
{
    static const char add[] = "INSERT INTO placed_tree (placed, line) VALUES (?1, ?2)";
    QX_TRY(write_list(cx, db, planting));
    for (size_t i = 0; i < layout->placed_count; i++) {
        if (isnan(layout->stand[i].row)) {
            continue;
        }
        qx_statement *statement = NULL;
        QX_TRY(qx_db_statement(cx, db, add, &statement));
        qx_bind_whole(statement, 1, (int64_t)i);
        qx_bind_whole(statement, 2, (int64_t)line_of(planting->trees, &layout->stand[i]));
        QX_TRY(qx_db_do(cx, db, statement));
    }
    return QX_OK;
}

/* --- reading --- */

qx_status qx_planting_read(
    qx_ctx *cx, qx_db *db, qx_problems *problems, qx_trees **trees, double *reach_m)
{
    static const char ask[] = "SELECT file, text, reach_m FROM tree_list WHERE id = 1";
    qx_statement *statement = NULL;
    bool there = false, row = false;
    *trees = NULL;
    QX_TRY(qx_db_has(cx, db, "tree_list", &there));
    if (!there) {
        return QX_OK;
    }
    QX_TRY(qx_db_statement(cx, db, ask, &statement));
    QX_TRY(qx_db_step(cx, db, statement, &row));
    if (!row) {
        return QX_OK;
    }
    size_t length = 0;
    const char *file = qx_row_text(statement, 0, NULL);
    const char *text = qx_row_text(statement, 1, &length);
    const char *reach = qx_row_text(statement, 2, NULL);
    qx_status status =
        file == NULL || text == NULL || reach == NULL ||
                !qx_decimal_read(reach, strlen(reach), '.', reach_m, NULL)
            ? qx_fail(cx,
                      QX_E_INPUT,
                      "%s: the tree list cannot be read; the file was changed by hand or "
                      "is damaged",
                      qx_db_path(db))
            : qx_trees_parse(cx, file, text, length, problems, trees);
    const qx_status done = qx_db_do(cx, db, statement);
    return status == QX_OK ? done : status;
}

static const qx_tree *tree_on(const qx_trees *trees, int64_t line)
{
    for (size_t i = 0; i < trees->count; i++) {
        if ((int64_t)trees->tree[i].line == line) {
            return &trees->tree[i];
        }
    }
    return NULL;
}

static qx_status
fill_stands(qx_ctx *cx, qx_db *db, const qx_trees *trees, qx_layout *layout)
{
    static const char ask[] = "SELECT placed, line FROM placed_tree";
    qx_stand *stand;
    qx_statement *statement = NULL;
    bool row = false;
    QX_NEW_IN(cx, layout->arena, stand, layout->placed_count);
    for (size_t i = 0; i < layout->placed_count; i++) {
        stand[i] = (qx_stand){(double)NAN, (double)NAN, (double)NAN};
    }
    QX_TRY(qx_db_statement(cx, db, ask, &statement));
    QX_TRY(qx_db_step(cx, db, statement, &row));
    while (row) {
        const int64_t at = qx_row_whole(statement, 0);
        const qx_tree *tree = tree_on(trees, qx_row_whole(statement, 1));
        if (at < 0 || (size_t)at >= layout->placed_count || tree == NULL) {
            return qx_fail(cx,
                           QX_E_INPUT,
                           "%s: the layout does not fit its tree list; the file was "
                           "changed by hand or is damaged",
                           qx_db_path(db));
        }
        stand[at] = (qx_stand){tree->row, tree->place, tree->trunk_area_cm2};
        QX_TRY(qx_db_step(cx, db, statement, &row));
    }
    layout->stand = stand;
    return QX_OK;
}

qx_status qx_stands_read(qx_ctx *cx, qx_db *db, qx_layout *layout)
{
    qx_trees *trees = NULL;
    double reach;
    qx_problems *problems = qx_problems_new(layout->arena);
    if (problems == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the trees");
    }
    QX_TRY(qx_planting_read(cx, db, problems, &trees, &reach));
    const qx_status status = trees == NULL ? QX_OK : fill_stands(cx, db, trees, layout);
    qx_trees_free(trees);
    return status;
}

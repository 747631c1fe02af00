#include "tasks/read_part.h"

#include <string.h>

#include "base/digest.h"
#include "base/file.h"
#include "trial/check.h"
#include "trial/join.h"
#include "trial/read_csv.h"
#include "trial/structure.h"

/* The table with an empty column of labels for each placed unit that has none, for the
 * layout is to be held against the labels that are there. */
static qx_status pad(qx_ctx *cx, const qx_protocol *p, const qx_table *in, qx_table *out)
{
    qx_column *columns = NULL;
    uint32_t *missing = NULL;
    QX_NEW(cx, columns, in->column_count + p->unit_count);
    QX_NEW(cx, missing, in->rows);
    memset(missing, 0xff, in->rows * sizeof *missing); /* QX_MISSING_CODE */
    memcpy(columns, in->column, in->column_count * sizeof *columns);
    *out = *in;
    out->column = columns;
    for (size_t u = 0; u < p->unit_count; u++) {
        if (qx_table_find(in, p->unit[u].name) == NULL && !qx_unit_sampled(p, u) &&
            p->unit[u].parent_count < 2) {
            columns[out->column_count++] = (qx_column){
                .name = p->unit[u].name, .kind = QX_COLUMN_LABEL, .code = missing};
        }
    }
    return QX_OK;
}

static qx_status hold_against_layout(qx_ctx *cx,
                                     const qx_protocol *protocol,
                                     const qx_layout *layout,
                                     qx_problems *problems,
                                     qx_read_file *file)
{
    qx_table padded = {0};
    qx_table *joined = NULL;
    QX_TRY(pad(cx, protocol, file->table, &padded));
    const qx_status status =
        qx_table_join_marked(cx, protocol, layout, &padded, problems, file->bad, &joined);
    if (status == QX_E_INPUT &&
        joined == NULL) { /* a column is missing: no row is good */
        for (size_t row = 0; row < file->table->rows; row++) {
            file->bad[row] = true;
        }
    }
    qx_table_free(joined);
    if (status == QX_E_INPUT) {
        qx_ctx_forgive(cx);
        return QX_OK;
    }
    return status;
}

static qx_status read_bytes(qx_ctx *cx,
                            const qx_protocol *protocol,
                            const char *path,
                            qx_problems *problems,
                            qx_arena *arena,
                            qx_read_file *out)
{
    qx_arena *text = qx_arena_new();
    qx_bytes bytes = {0};
    char digest[65];
    if (text == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for %s", path);
    }
    qx_status status = qx_file_read(cx, text, path, QX_DATA_BYTES_MOST, &bytes);
    if (status == QX_OK) {
        qx_digest(bytes.bytes, bytes.length, digest);
        status = qx_data_parse(cx,
                               protocol,
                               path,
                               bytes.bytes,
                               bytes.length,
                               true,
                               problems,
                               &out->table,
                               &out->bad);
        out->digest = qx_arena_copy(arena, digest);
    }
    qx_arena_free(text);
    return status == QX_OK && out->digest == NULL
               ? qx_fail(cx, QX_E_NOMEM, "no memory for %s", path)
               : status;
}

qx_status qx_read_part(qx_ctx *cx,
                       const qx_protocol *protocol,
                       const qx_layout *layout,
                       const char *path,
                       qx_problems *problems,
                       qx_arena *arena,
                       qx_read_file *out)
{
    qx_read_file file = {0};
    qx_status status = read_bytes(cx, protocol, path, problems, arena, &file);
    if (status == QX_E_INPUT && file.table != NULL && file.bad != NULL) {
        qx_ctx_forgive(cx);
        status = QX_OK;
    }
    if (status == QX_OK) {
        QX_SCRATCH(
            cx, status, hold_against_layout(cx, protocol, layout, problems, &file));
    }
    if (status != QX_OK) {
        qx_table_free(file.table);
        return status;
    }
    *out = file;
    return QX_OK;
}

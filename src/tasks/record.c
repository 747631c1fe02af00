#include "tasks/record.h"

#include "store/covariates.h"
#include "tasks/read_part.h"

typedef struct recording {
    qx_ctx *cx;
    const qx_record_wish *wish;
    qx_problems *problems;
    qx_arena *arena;
    qx_trial_file *trial;
    qx_protocol *protocol;
    qx_layout *layout;
    qx_read_file *file;
} recording;

/* Reads every file, also after one that could not be read, so that all problems are told.
 * A file that could not be read at all is a failure even where good rows are accepted. */
static qx_status read_files(recording *r)
{
    qx_status failed = QX_OK;
    QX_NEW(r->cx, r->file, r->wish->file_count);
    for (size_t i = 0; i < r->wish->file_count; i++) {
        const qx_status status = qx_read_part(r->cx,
                                              r->protocol,
                                              r->layout,
                                              r->wish->file[i],
                                              r->problems,
                                              r->arena,
                                              &r->file[i]);
        if (status != QX_OK && status != QX_E_INPUT) {
            return status;
        }
        failed = failed == QX_OK ? status : failed;
    }
    return failed;
}

static qx_status store(recording *r, bool *stored, qx_receipt *out)
{
    qx_data_part *part = NULL;
    QX_NEW(r->cx, part, r->wish->file_count);
    for (size_t i = 0; i < r->wish->file_count; i++) {
        part[i] = (qx_data_part){r->file[i].table, r->file[i].bad, r->file[i].digest};
    }
    const qx_record_order order = {.protocol = r->protocol,
                                   .layout = r->layout,
                                   .part_count = r->wish->file_count,
                                   .part = part,
                                   .by = r->wish->by,
                                   .reason = r->wish->reason,
                                   .accept_good = r->wish->accept_good};
    QX_TRY(qx_observations_record(r->cx, r->trial, &order, r->problems, r->arena, out));
    *stored = true;
    QX_TRY(qx_covariates_note(r->cx, r->trial, r->protocol, r->problems));
    return qx_problems_count(r->problems) > 0
               ? qx_fail(r->cx, QX_E_INPUT, "some rows have problems and were left out")
               : QX_OK;
}

/* How many rows were read, and how many of them have problems, where nothing was stored. */
static void count_rows(const recording *r, qx_receipt *out)
{
    for (size_t i = 0; i < r->wish->file_count; i++) {
        const qx_read_file *file = &r->file[i];
        for (size_t row = 0; row < file->table->rows; row++) {
            out->rows++;
            out->left_out += file->bad[row] ? 1 : 0;
        }
    }
}

static qx_status record(recording *r, bool *stored, qx_receipt *out)
{
    QX_TRY(qx_trial_file_open(r->cx, r->wish->trial, QX_TO_RECORD, &r->trial));
    QX_TRY(qx_trial_file_protocol(r->cx, r->trial, r->problems, &r->protocol));
    QX_TRY(qx_trial_file_layout(r->cx, r->trial, r->protocol, &r->layout));
    QX_TRY(read_files(r));
    const qx_status status = store(r, stored, out);
    if (!*stored) {
        count_rows(r, out);
    }
    return status;
}

qx_status qx_record(qx_ctx *cx,
                    const qx_record_wish *wish,
                    qx_problems *problems,
                    qx_arena *arena,
                    bool *stored,
                    qx_receipt *out)
{
    recording r = {.cx = cx, .wish = wish, .problems = problems, .arena = arena};
    *stored = false;
    const qx_arena_mark mark = qx_arena_get_mark(qx_ctx_scratch(cx));
    const qx_status status = record(&r, stored, out);
    for (size_t i = 0; r.file != NULL && i < wish->file_count; i++) {
        qx_table_free(r.file[i].table);
    }
    qx_layout_free(r.layout);
    qx_protocol_free(r.protocol);
    qx_trial_file_close(r.trial);
    const qx_status noted = *stored ? qx_trial_file_note_log(cx, wish->trial) : QX_OK;
    qx_arena_rewind(qx_ctx_scratch(cx), mark);
    return status == QX_OK ? noted : status;
}

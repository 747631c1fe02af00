#include "tasks/lay_out.h"

#include "base/file.h"
#include "report/field_pictures.h"
#include "store/trial_file.h"
#include "trial/read_yaml.h"
#include "trial/structure.h"

/* Seeds that are tried: enough where one layout in a hundred will do. */
#define SEEDS_MOST 1000

/* Complaints of the layout floor, given their place in the protocol. */
typedef struct placing {
    const qx_protocol *protocol;
    qx_problems *problems;
    bool as_notes;
    qx_status failed;
} placing;

static void place(void *listener,
                  size_t unit,
                  size_t treatment,
                  const char *wrong,
                  const char *expected)
{
    placing *p = listener;
    const qx_protocol *protocol = p->protocol;
    qx_place at = {.line = 1, .column = 1};
    if (treatment < protocol->treatment_count) {
        at = protocol->treatment[treatment].at;
    } else if (unit < protocol->unit_count) {
        at = protocol->unit[unit].at;
    } else if (protocol->wishes_at.line > 0) {
        at = protocol->wishes_at;
    }
    const qx_status status =
        p->as_notes
            ? qx_problem_note(p->problems,
                              protocol->file,
                              at,
                              "this protocol cannot be laid out as it stands: %s; %s",
                              wrong,
                              expected)
            : qx_problem_add(p->problems, protocol->file, at, expected, "%s", wrong);
    p->failed = status == QX_OK ? p->failed : status;
}

static qx_status complain(qx_ctx *cx, placing *p)
{
    qx_layout_spec spec = {0};
    const qx_status status = qx_structure_of(cx, qx_ctx_scratch(cx), p->protocol, &spec);
    if (status == QX_E_INPUT) {
        const qx_place top = {.line = 1, .column = 1};
        const char *message = qx_arena_copy(qx_ctx_scratch(cx), qx_ctx_message(cx));
        if (message == NULL) {
            return qx_fail(cx, QX_E_NOMEM, "no memory for a message");
        }
        qx_ctx_forgive(cx);
        if (p->as_notes) {
            return qx_problem_note(p->problems, p->protocol->file, top, "%s", message);
        }
        return qx_problem_add(p->problems,
                              p->protocol->file,
                              top,
                              "expected every treatment on a unit with a count",
                              "%s",
                              message);
    }
    QX_TRY(status);
    (void)qx_layout_problems(cx, &spec, place, p);
    return p->failed == QX_OK ? qx_ctx_status(cx) : p->failed;
}

qx_status qx_layout_complaints(qx_ctx *cx,
                               const qx_protocol *protocol,
                               bool as_notes,
                               qx_problems *problems)
{
    placing p = {.protocol = protocol, .problems = problems, .as_notes = as_notes};
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, complain(cx, &p));
    return status;
}

static qx_status
draw(qx_ctx *cx, const qx_protocol *protocol, uint64_t seed, qx_layout **out)
{
    qx_layout_spec spec = {0};
    QX_TRY(qx_structure_of(cx, qx_ctx_scratch(cx), protocol, &spec));
    return qx_layout_make(cx, &spec, seed, out);
}

qx_status qx_draw_layout(qx_ctx *cx,
                         const qx_protocol *protocol,
                         uint64_t seed,
                         qx_problems *problems,
                         qx_layout **out)
{
    const size_t before = qx_problems_count(problems);
    QX_TRY(qx_layout_complaints(cx, protocol, false, problems));
    if (qx_problems_count(problems) > before) {
        return qx_fail(cx, QX_E_INPUT, "%s cannot be laid out", protocol->file);
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, draw(cx, protocol, seed, out));
    return status;
}

/* Draws and gives the trees their places. */
static qx_status draw_on_trees(qx_ctx *cx,
                               const qx_lay_out_wish *wish,
                               uint64_t seed,
                               qx_problems *problems,
                               qx_laid_out *made)
{
    QX_TRY(qx_draw_layout(cx, made->protocol, seed, problems, &made->layout));
    return made->trees == NULL ? QX_OK
                               : qx_trees_place(cx,
                                                made->layout->arena,
                                                made->protocol,
                                                made->trees,
                                                wish->reach_m,
                                                made->layout,
                                                &made->placed);
}

/* Blocks that were drawn apart may stand side by side: seeds are passed over, in their
 * order, until neighbours in the orchard keep what was promised of them. What is left is
 * drawn from all layouts that keep it, each as likely as any other. */
static qx_status draw_until_kept(qx_ctx *cx,
                                 const qx_lay_out_wish *wish,
                                 qx_problems *problems,
                                 qx_laid_out *made)
{
    for (uint64_t k = 0; k < SEEDS_MOST; k++) {
        QX_TRY(draw_on_trees(cx, wish, wish->seed + k, problems, made));
        if (qx_trees_keep_apart(made->protocol, made->layout)) {
            return QX_OK;
        }
        qx_layout_free(made->layout);
        made->layout = NULL;
        made->passed_over++;
    }
    return qx_fail(
        cx,
        QX_E_INPUT,
        "%d layouts were drawn, and in each the same treatment stands side by "
        "side somewhere in %s, for blocks meet in a row; expected blocks in rows "
        "of their own (\"layout: {row: ...}\"), more trees between them, or no "
        "\"apart\"",
        SEEDS_MOST,
        wish->trees);
}

static qx_status
make(qx_ctx *cx, const qx_lay_out_wish *wish, qx_problems *problems, qx_laid_out *made)
{
    qx_planting planting = {.reach_m = wish->reach_m};
    QX_TRY(qx_protocol_read(cx, wish->protocol, problems, &made->protocol));
    if (wish->trees != NULL) {
        QX_TRY(qx_trees_read(cx, wish->trees, problems, &made->trees));
    }
    QX_TRY(draw_until_kept(cx, wish, problems, made));
    planting.trees = made->trees;
    return qx_trial_file_create(cx,
                                wish->path,
                                made->protocol,
                                made->layout,
                                made->trees == NULL ? NULL : &planting,
                                wish->by);
}

qx_status qx_lay_out(qx_ctx *cx,
                     const qx_lay_out_wish *wish,
                     qx_problems *problems,
                     qx_laid_out *out)
{
    qx_laid_out made = {0};
    if (qx_file_exists(wish->path)) {
        return qx_fail(cx,
                       QX_E_EXISTS,
                       "%s is there already; expected a new name: a layout is never "
                       "overwritten",
                       wish->path);
    }
    const qx_status status = make(cx, wish, problems, &made);
    if (status != QX_OK) {
        qx_laid_out_free(&made);
        return status;
    }
    *out = made;
    return QX_OK;
}

static qx_status
write_picture(qx_ctx *cx, const qx_field *field, const char *key, const char *folder)
{
    qx_arena *arena = qx_arena_new();
    qx_text *svg = arena == NULL ? NULL : qx_text_new(arena);
    const char *path =
        svg == NULL ? NULL : qx_arena_printf(arena, "%s/%s.svg", folder, key);
    qx_status status = path == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for a picture")
                                    : qx_field_svg(cx, field, key, svg);
    if (status == QX_OK) {
        status = qx_file_write(cx, path, qx_text_get(svg), qx_text_length(svg));
    }
    qx_arena_free(arena);
    return status;
}

qx_status qx_lay_out_pictures(qx_ctx *cx, const qx_laid_out *made, const char *folder)
{
    const qx_field field = {.protocol = made->protocol,
                            .layout = made->layout,
                            .trees = made->trees,
                            .placed = made->trees == NULL ? NULL : &made->placed};
    QX_TRY(qx_folder_make(cx, folder));
    QX_TRY(write_picture(cx, &field, "map", folder));
    return made->trees == NULL ? QX_OK : write_picture(cx, &field, "blocks", folder);
}

qx_status qx_lay_out_undo(qx_ctx *cx, const char *path)
{
    return qx_trial_file_remove(cx, path);
}

void qx_laid_out_free(qx_laid_out *laid_out)
{
    if (laid_out != NULL) {
        qx_layout_free(laid_out->layout);
        qx_trees_free(laid_out->trees);
        qx_protocol_free(laid_out->protocol);
        *laid_out = (qx_laid_out){0};
    }
}

#include "tasks/inspect_trial.h"

#include <math.h>
#include <string.h>

#include "layout/layout.h"
#include "store/inspect.h"
#include "tasks/lay_out.h"
#include "trial/trees_place.h"

typedef struct inspecting {
    qx_ctx *cx;
    qx_trial_file *file;
    const qx_protocol *protocol;
    const qx_layout *stored;
    qx_problems *problems;
    qx_trial_about about;
    qx_layout *again; /* drawn again from the seed */
    qx_trees *trees;  /* NULL without a list */
    double reach_m;
} inspecting;

static qx_status tell(const inspecting *in, const char *expected, const char *wrong)
{
    const qx_place top = {.line = 1, .column = 1};
    return wrong == NULL ? qx_fail(in->cx, QX_E_NOMEM, "no memory for a message")
                         : qx_problem_add(in->problems,
                                          qx_trial_file_path(in->file),
                                          top,
                                          expected,
                                          "%s",
                                          wrong);
}

static qx_status check_digests(const inspecting *in)
{
    char digest[65];
    if (strcmp(in->about.protocol_digest, in->protocol->digest) != 0) {
        QX_TRY(tell(in,
                    "expected the protocol as it was when the trial was laid out",
                    "the stored protocol was changed by hand"));
    }
    QX_TRY(qx_trial_layout_digest(in->cx, in->protocol, in->stored, digest));
    if (strcmp(in->about.layout_digest, digest) != 0) {
        QX_TRY(tell(in,
                    "expected the layout as it was drawn",
                    "the stored layout was changed by hand after it was drawn"));
    }
    return QX_OK;
}

/* Something that was possible once fails now: told, with what it says. */
static qx_status
tell_failure(const inspecting *in, const char *what, const char *expected)
{
    const char *wrong =
        qx_arena_printf(qx_ctx_scratch(in->cx), "%s: %s", what, qx_ctx_message(in->cx));
    qx_ctx_forgive(in->cx);
    return tell(in, expected, wrong);
}

/* --- trees --- */

static qx_status place_again(inspecting *in)
{
    qx_trees_placed placed;
    const qx_status status = qx_trees_place(in->cx,
                                            in->again->arena,
                                            in->protocol,
                                            in->trees,
                                            in->reach_m,
                                            in->again,
                                            &placed);
    return status != QX_E_INPUT
               ? status
               : tell_failure(in,
                              "the stored list of trees is not the one that was used",
                              "expected the list as it was when the trial was laid out");
}

static bool same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

static bool same_stand(const qx_stand *a, const qx_stand *b)
{
    return same_number(a->row, b->row) && same_number(a->place, b->place) &&
           same_number(a->size, b->size);
}

static qx_status check_stands(const inspecting *in)
{
    const qx_stand *stored = in->stored->stand, *again = in->again->stand;
    size_t other = 0;
    if (stored == NULL || again == NULL ||
        in->stored->placed_count != in->again->placed_count) {
        return QX_OK; /* no list, or told with the layout */
    }
    for (size_t i = 0; i < in->stored->placed_count; i++) {
        other += same_stand(&stored[i], &again[i]) ? 0 : 1;
    }
    return other == 0 ? QX_OK
                      : tell(in,
                             "expected the trees that the list and the seed give",
                             qx_arena_printf(qx_ctx_scratch(in->cx),
                                             "which tree of the list each one of the "
                                             "layout is was changed by hand: %zu differ",
                                             other));
}

/* --- the layout, drawn again --- */

static const char *level_name(const inspecting *in, const qx_layout *layout, size_t cell)
{
    const size_t t = cell % layout->treatment_count;
    const uint32_t level = layout->level[cell];
    return level == QX_NO_LEVEL ? "nothing" : in->protocol->treatment[t].level[level];
}

/* ": tree T103 has headed, but uncut was drawn", or "" where the things themselves differ. */
static const char *first_other(const inspecting *in)
{
    const qx_layout *a = in->stored, *b = in->again;
    const size_t cells = a->placed_count * a->treatment_count;
    size_t count = 0, first = 0;
    if (a->placed_count != b->placed_count || a->treatment_count != b->treatment_count) {
        return "";
    }
    for (size_t i = cells; i-- > 0;) {
        if (a->level[i] != b->level[i]) {
            first = i;
            count++;
        }
    }
    if (count == 0) {
        return "";
    }
    const qx_placed *thing = &a->placed[first / a->treatment_count];
    return qx_arena_printf(qx_ctx_scratch(in->cx),
                           ": %s %s has %s, but the seed gives %s%s",
                           in->protocol->unit[thing->unit].name,
                           thing->label,
                           level_name(in, a, first),
                           level_name(in, b, first),
                           count > 1 ? ", and others differ too" : "");
}

static qx_status compare(inspecting *in)
{
    char stored[65];
    char again[65];
    if (in->again->version != in->stored->version) {
        return tell(in,
                    "expected a version of the program that knows it",
                    "the layout was drawn by another version of the randomisation and "
                    "cannot be replayed");
    }
    QX_TRY(qx_trial_layout_digest(in->cx, in->protocol, in->stored, stored));
    QX_TRY(qx_trial_layout_digest(in->cx, in->protocol, in->again, again));
    if (strcmp(stored, again) == 0) {
        return check_stands(in);
    }
    const char *other = first_other(in);
    return tell(in,
                "expected the layout that the seed gives",
                other == NULL
                    ? NULL
                    : qx_arena_printf(qx_ctx_scratch(in->cx),
                                      "the stored layout is not what was drawn from its "
                                      "seed%s",
                                      other));
}

static qx_status check_drawing(inspecting *in)
{
    const size_t before = qx_problems_count(in->problems);
    const qx_status status =
        qx_draw_layout(in->cx, in->protocol, in->stored->seed, in->problems, &in->again);
    if (status == QX_E_INPUT) {
        if (qx_problems_count(in->problems) > before) {
            qx_ctx_forgive(in->cx);
            return QX_OK; /* told in the problems */
        }
        return tell_failure(in,
                            "the layout cannot be drawn again",
                            "expected the layout that the seed gives");
    }
    QX_TRY(status);
    if (in->trees != NULL) {
        const size_t told = qx_problems_count(in->problems);
        QX_TRY(place_again(in));
        if (qx_problems_count(in->problems) > told) {
            return QX_OK;
        }
    }
    return compare(in);
}

static qx_status inspect(inspecting *in, qx_arena *arena)
{
    QX_TRY(qx_trial_file_about(in->cx, in->file, arena, &in->about));
    QX_TRY(qx_trial_file_trees(in->cx, in->file, in->problems, &in->trees, &in->reach_m));
    if (in->trees == NULL && in->about.placed_trees > 0) {
        QX_TRY(tell(in,
                    "expected the list as it was when the trial was laid out",
                    "the list of trees is no longer in the file"));
    }
    QX_TRY(check_digests(in));
    QX_TRY(check_drawing(in));
    return qx_inspect_records(in->cx, in->file, in->problems);
}

static qx_status keep(qx_ctx *cx, qx_arena *arena, const char *text, const char **out)
{
    *out = qx_arena_copy(arena, text);
    return *out == NULL ? qx_fail(cx, QX_E_NOMEM, "no memory for the answer") : QX_OK;
}

qx_status qx_inspect_trial(qx_ctx *cx,
                           qx_trial_file *file,
                           const qx_protocol *protocol,
                           const qx_layout *drawn,
                           qx_problems *problems,
                           qx_arena *arena,
                           const char **trees,
                           const char **trees_digest)
{
    inspecting in = {.cx = cx,
                     .file = file,
                     .protocol = protocol,
                     .stored = drawn,
                     .problems = problems};
    qx_status status = QX_OK;
    *trees = NULL;
    *trees_digest = NULL;
    QX_SCRATCH(cx, status, inspect(&in, arena));
    if (status == QX_OK && in.trees != NULL) {
        status = keep(cx, arena, in.trees->file, trees);
        status =
            status == QX_OK ? keep(cx, arena, in.trees->digest, trees_digest) : status;
    }
    qx_layout_free(in.again);
    qx_trees_free(in.trees);
    return status;
}

qx_status qx_changed_by_hand(qx_ctx *cx,
                             qx_trial_file *file,
                             const qx_protocol *protocol,
                             qx_arena *arena,
                             size_t *count,
                             const char *const **out)
{
    qx_problems *problems = qx_problems_new(arena);
    qx_layout *drawn = NULL;
    const char **line, *trees, *digest;
    if (problems == NULL) {
        return qx_fail(cx, QX_E_NOMEM, "no memory for the answer");
    }
    QX_TRY(qx_trial_file_drawn(cx, file, protocol, &drawn));
    const qx_status status =
        qx_inspect_trial(cx, file, protocol, drawn, problems, arena, &trees, &digest);
    qx_layout_free(drawn);
    QX_TRY(status);
    *count = qx_problems_stored(problems);
    QX_NEW_IN(cx, arena, line, *count);
    for (size_t i = 0; i < *count; i++) {
        line[i] = qx_problems_get(problems, i)->wrong;
    }
    *out = line;
    return QX_OK;
}

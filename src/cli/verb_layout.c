/* cli/verb_layout.c - draws the layout and makes the trial file. */
#include <inttypes.h>
#include <sys/random.h>

#include "base/json_write.h"
#include "cli/verb.h"
#include "tasks/lay_out.h"

/* Seeds that the system draws have at most twelve digits, so that people can copy them. */
#define SEEDS UINT64_C(1000000000000)

static qx_status draw_seed(qx_call *call)
{
    if (qx_call_has(call, QX_FLAG_SEED)) {
        return QX_OK;
    }
    uint64_t bits = 0;
    const uint64_t surplus = (UINT64_C(0) - SEEDS) % SEEDS; /* 2^64 mod SEEDS */
    do {
        if (getrandom(&bits, sizeof bits, 0) != (ssize_t)sizeof bits) {
            return qx_fail(
                call->cx, QX_E_IO, "the system gives no random numbers; give a --seed");
        }
    } while (bits < surplus);
    call->seed = bits % SEEDS;
    return QX_OK;
}

static const char *level_of(const qx_laid_out *made, size_t thing, size_t treatment)
{
    const uint32_t level =
        made->layout->level[thing * made->layout->treatment_count + treatment];
    return level == QX_NO_LEVEL ? NULL
                                : made->protocol->treatment[treatment].level[level];
}

static bool has_levels(const qx_laid_out *made, size_t thing)
{
    for (size_t t = 0; t < made->layout->treatment_count; t++) {
        if (level_of(made, thing, t) != NULL) {
            return true;
        }
    }
    return false;
}

/* "block 1, tree 2": what it stands in first, each once. */
static void add_path(const qx_laid_out *made,
                     size_t thing,
                     qx_text *out) /* NOLINT(misc-no-recursion) */
{
    const qx_placed *placed = &made->layout->placed[thing];
    const qx_unit *unit = &made->protocol->unit[placed->unit];
    for (size_t i = 0; i < unit->parent_count; i++) {
        add_path(made, placed->parent[i], out);
        qx_text_add(out, ", ");
    }
    qx_text_printf(out, "%s %s", unit->name, placed->label);
}

static void add_levels(const qx_laid_out *made, size_t thing, qx_text *out)
{
    const char *between = ": ";
    for (size_t t = 0; t < made->layout->treatment_count; t++) {
        const char *level = level_of(made, thing, t);
        if (level != NULL) {
            qx_text_printf(
                out, "%s%s %s", between, made->protocol->treatment[t].name, level);
            between = ", ";
        }
    }
}

static void answer_text(qx_call *call, const qx_laid_out *made)
{
    const qx_layout *layout = made->layout;
    qx_text_printf(call->answer, "%s\n\n", layout->describe);
    for (size_t i = 0; i < layout->placed_count; i++) {
        if (has_levels(made, i)) {
            add_path(made, i, call->answer);
            add_levels(made, i, call->answer);
            qx_text_add(call->answer, "\n");
        }
    }
    qx_text_printf(call->answer,
                   "\nSeed %" PRIu64 " (randomisation %" PRIu32 "), stored in %s\n",
                   layout->seed,
                   layout->version,
                   call->out);
}

static void write_placed(qx_json *json, const qx_laid_out *made, size_t i)
{
    const qx_placed *placed = &made->layout->placed[i];
    const qx_unit *unit = &made->protocol->unit[placed->unit];
    qx_json_open(json, NULL, '{');
    qx_json_text(json, "unit", unit->name);
    qx_json_text(json, "label", placed->label);
    qx_json_whole(json, "number", placed->number);
    qx_json_open(json, "within", '[');
    for (size_t k = 0; k < unit->parent_count; k++) {
        qx_json_whole(json, NULL, placed->parent[k]);
    }
    qx_json_close(json, ']');
    qx_json_open(json, "levels", '{');
    for (size_t t = 0; t < made->layout->treatment_count; t++) {
        const char *level = level_of(made, i, t);
        if (level != NULL) {
            qx_json_text(json, made->protocol->treatment[t].name, level);
        }
    }
    qx_json_close(json, '}');
    qx_json_close(json, '}');
}

static qx_status answer_json(qx_call *call, const qx_laid_out *made)
{
    const qx_layout *layout = made->layout;
    qx_json *json = qx_json_new(call->arena, call->answer);
    const char *seed = qx_arena_printf(call->arena, "%" PRIu64, layout->seed);
    if (json == NULL || seed == NULL) {
        return qx_fail(call->cx, QX_E_NOMEM, "no memory for the answer");
    }
    qx_json_open(json, NULL, '{');
    qx_json_whole(json, "quincunx", 1);
    qx_json_text(json, "file", call->out);
    qx_json_text(json, "kind", layout->kind);
    qx_json_text(json, "describe", layout->describe);
    qx_json_text(json, "seed", seed);
    qx_json_whole(json, "version", layout->version);
    qx_json_open(json, "placed", '[');
    for (size_t i = 0; i < layout->placed_count; i++) {
        write_placed(json, made, i);
    }
    qx_json_close(json, ']');
    qx_json_close(json, '}');
    return QX_OK;
}

static qx_status run(qx_call *call)
{
    qx_laid_out made = {0};
    QX_TRY(draw_seed(call));
    QX_TRY(qx_lay_out(
        call->cx, call->file[0], call->seed, call->out, call->by, call->problems, &made));
    qx_status status = QX_OK;
    if (qx_call_has(call, QX_FLAG_JSON)) {
        status = answer_json(call, &made);
    } else {
        answer_text(call, &made);
    }
    qx_laid_out_free(&made);
    return status;
}

const qx_verb qx_verb_layout = {
    .name = "layout",
    .summary = "a trial file with the randomised layout",
    .usage = "PROTOCOL [--seed N] -o FILE.qx",
    .about =
        "Draws which unit gets which treatment and makes the trial file. The same "
        "seed\ngives the same layout; without one it is drawn and told. A trial file "
        "is never\noverwritten. In JSON, `within` holds the numbers (from 0) of the "
        "entries of\n`placed` that a thing stands in.\n",
    .example = "  quincunx layout pears.yaml --seed 20260301 -o pears.qx\n",
    .flags = QX_FLAG_JSON | QX_FLAG_SEED | QX_FLAG_OUT | QX_FLAG_BY,
    .needed = QX_FLAG_OUT,
    .files_least = 1,
    .files_most = 1,
    .run = run};

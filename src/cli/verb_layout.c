/* cli/verb_layout.c - draws the layout and makes the trial file. */
#include <inttypes.h>
#include <math.h>
#include <sys/random.h>

#include "base/json_write.h"
#include "cli/verb.h"
#include "layout/alike.h"
#include "layout/assess.h"
#include "tasks/change_layout.h"
#include "tasks/lay_out.h"
#include "tasks/load.h"
#include "trial/structure.h"

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

/* Things that carry some level of the treatment. */
static size_t things_with(const qx_laid_out *made, size_t treatment)
{
    size_t count = 0;
    for (size_t i = 0; i < made->layout->placed_count; i++) {
        count += level_of(made, i, treatment) != NULL ? 1 : 0;
    }
    return count;
}

/* A layout can be drawn that can never answer: said before anybody plants it. */
static void warn_of_single_things(qx_call *call, const qx_laid_out *made)
{
    for (size_t t = 0; t < made->layout->treatment_count; t++) {
        const qx_treatment *treatment = &made->protocol->treatment[t];
        if (things_with(made, t) <= treatment->level_count) {
            qx_text_printf(
                call->answer,
                "\nNote: each %s stands on a single %s. Without a second one of "
                "each no difference between them can be tested.\n",
                treatment->name,
                made->protocol->unit[treatment->on].name);
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
    warn_of_single_things(call, made);
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
    if (made->layout->stand != NULL && !isnan(made->layout->stand[i].row)) {
        qx_json_number(json, "row", made->layout->stand[i].row);
        qx_json_number(json, "place", made->layout->stand[i].place);
        qx_json_number(json, "trunk_area_cm2", made->layout->stand[i].size);
    }
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

static void write_odd(qx_json *json, const qx_laid_out *made)
{
    qx_json_open(json, "odd", '[');
    for (size_t i = 0; i < made->placed.odd_count; i++) {
        const qx_odd_tree *odd = &made->placed.odd[i];
        qx_json_open(json, NULL, '{');
        qx_json_text(json, "tree", made->trees->tree[odd->tree].label);
        qx_json_number(json, "z", odd->z);
        qx_json_bool(json, "among_neighbours", odd->among_neighbours);
        qx_json_bool(json, "used", odd->used);
        qx_json_close(json, '}');
    }
    qx_json_close(json, ']');
}

static void write_trees(qx_json *json, const qx_laid_out *made)
{
    const qx_trees_placed *p = &made->placed;
    qx_json_open(json, "trees", '{');
    qx_json_text(json, "file", made->trees->file);
    qx_json_text(json, "digest", made->trees->digest);
    qx_json_whole(json, "usable", (long long)p->usable);
    qx_json_whole(json, "needed", (long long)p->needed);
    qx_json_bool(json, "by_place", p->by_place);
    qx_json_number(json, "within", p->within);
    qx_json_number(json, "within_by_place", p->within_by_place);
    qx_json_number(json, "farthest_m", p->farthest_m);
    qx_json_number(json, "farthest_by_place_m", p->farthest_by_place_m);
    write_odd(json, made);
    qx_json_close(json, '}');
}

/* Things of which the efficiency is told: its cost grows with their third power. */
#define THINGS_MOST 1500

static qx_status write_efficiency(qx_call *call,
                                  qx_json *json,
                                  const qx_laid_out *made,
                                  const qx_layout_spec *spec)
{
    qx_json_open(json, "efficiency", '[');
    for (size_t u = 0; u < spec->unit_count; u++) {
        bool treated = false;
        for (size_t t = 0; t < spec->treatment_count; t++) {
            treated = treated || spec->treatment[t].on == u;
        }
        if (!treated || made->layout->placed_count > THINGS_MOST) {
            continue;
        }
        qx_criteria c = {0};
        QX_TRY(qx_layout_criteria(call->cx, spec, made->layout, u, &c));
        qx_json_open(json, NULL, '{');
        qx_json_text(json, "unit", spec->unit[u].name);
        qx_json_bool(json, "connected", c.parts == 1);
        qx_json_number(json, "a_efficiency", c.a_efficiency);
        qx_json_number(json, "a_bound", c.a_bound);
        qx_json_number(json, "mean_variance", c.mean_variance);
        qx_json_number(json, "least_variance", c.least_variance);
        qx_json_number(json, "most_variance", c.most_variance);
        qx_json_close(json, '}');
    }
    qx_json_close(json, ']');
    return QX_OK;
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
    qx_layout_spec spec = {0};
    QX_TRY(qx_structure_of(call->cx, call->arena, made->protocol, &spec));
    QX_TRY(write_efficiency(call, json, made, &spec));
    if (made->trees != NULL) {
        write_trees(json, made);
    }
    qx_json_open(json, "placed", '[');
    for (size_t i = 0; i < layout->placed_count; i++) {
        write_placed(json, made, i);
    }
    qx_json_close(json, ']');
    qx_json_close(json, '}');
    return QX_OK;
}

/* Correlations of trunk area with what will be measured, for "what is it worth". */
static const double correlations[] = {0.3, 0.5, 0.7};

static void answer_trees(qx_call *call, const qx_laid_out *made)
{
    const qx_trees_placed *p = &made->placed;
    qx_text_printf(call->answer,
                   "\nTrees: %zu of %zu in %s were chosen.\n",
                   p->needed,
                   made->trees->count,
                   made->trees->file);
    if (!isnan(p->within) && !p->by_place) {
        qx_text_printf(call->answer,
                       "Blocks of like trees leave %.0f %% of the variance of trunk area "
                       "inside blocks, blocks by place alone %.0f %%; no two trees of a "
                       "block are more than %.1f m apart.\n",
                       100.0 * p->within,
                       100.0 * p->within_by_place,
                       p->farthest_m);
        for (size_t i = 0; i < QX_COUNT(correlations); i++) {
            const double r = correlations[i];
            qx_text_printf(call->answer,
                           "  If what is measured follows trunk area with a correlation "
                           "of %.1f, 10 such blocks do the work of %.1f.\n",
                           r,
                           10.0 * qx_alike_worth(p->within, p->within_by_place, r));
        }
    } else if (!isnan(p->within)) {
        qx_text_printf(call->answer,
                       "Blocks were formed by place, since neighbours matter in this "
                       "layout: %.0f %% of the variance of trunk area is left inside.\n",
                       100.0 * p->within);
    }
    if (p->in_runs) {
        qx_text_add(
            call->answer,
            "Blocks are runs of trees beside each other, for this layout has plots "
            "of several trees or says something of rows or neighbours.\n");
    }
    if (p->broken > 0) {
        qx_text_printf(
            call->answer,
            "Look at the map: %zu of %zu blocks have a gap or go on in another "
            "row. What the layout says of neighbours does not hold across it.\n",
            p->broken,
            p->block_count);
    }
    if (made->passed_over > 0) {
        qx_text_printf(call->answer,
                       "%zu seed%s before %" PRIu64 " %s passed over: where blocks meet, "
                       "the same treatment would have stood side by side.\n",
                       made->passed_over,
                       made->passed_over == 1 ? "" : "s",
                       made->layout->seed,
                       made->passed_over == 1 ? "was" : "were");
    }
    for (size_t i = 0; i < p->odd_count; i++) {
        qx_text_printf(call->answer,
                       "Tree %s is unlike %s in trunk area (robust z %.1f)%s.\n",
                       made->trees->tree[p->odd[i].tree].label,
                       p->odd[i].among_neighbours ? "its neighbours" : "the others",
                       p->odd[i].z,
                       p->odd[i].used ? ", and was taken: look at it" : "; not taken");
    }
}

/* Without its pictures the trial file that was just made goes too, so that the same command
 * can be given again. */
static qx_status draw_pictures(qx_call *call, const qx_laid_out *made)
{
    if (call->pictures == NULL) {
        return QX_OK;
    }
    const qx_status status = qx_lay_out_pictures(call->cx, made, call->pictures);
    if (status != QX_OK) {
        (void)qx_lay_out_undo(call->cx, call->out); /* the first failure is told */
    }
    return status;
}

static qx_status draw(qx_call *call)
{
    qx_laid_out made = {0};
    QX_TRY(draw_seed(call));
    const qx_lay_out_wish wish = {.protocol = call->file[0],
                                  .trees = call->trees,
                                  .reach_m = call->reach_m,
                                  .seed = call->seed,
                                  .path = call->out,
                                  .by = call->by};
    if (call->out == NULL) {
        return qx_fail(call->cx, QX_E_USAGE, "layout needs --output PATH");
    }
    QX_TRY(qx_lay_out(call->cx, &wish, call->problems, &made));
    qx_status status = draw_pictures(call, &made);
    if (status != QX_OK) {
        qx_laid_out_free(&made);
        return status;
    }
    if (qx_call_has(call, QX_FLAG_JSON)) {
        status = answer_json(call, &made);
    } else {
        answer_text(call, &made);
        if (made.trees != NULL) {
            answer_trees(call, &made);
        }
    }
    qx_laid_out_free(&made);
    return status;
}

/* A change is kept in the trial file itself and draws nothing. */
static const char *drawing_option(const qx_call *call)
{
    static const struct {
        qx_flag flag;
        const char *word;
    } all[] = {{QX_FLAG_OUT, "--output"},
               {QX_FLAG_SEED, "--seed"},
               {QX_FLAG_TREES, "--trees"},
               {QX_FLAG_REACH, "--reach"},
               {QX_FLAG_PICTURES, "--pictures"}};
    for (size_t i = 0; i < QX_COUNT(all); i++) {
        if (qx_call_has(call, all[i].flag)) {
            return all[i].word;
        }
    }
    return NULL;
}

static qx_status carry_out(qx_call *call)
{
    const char *drawing = drawing_option(call);
    if (drawing != NULL) {
        return qx_fail(
            call->cx,
            QX_E_USAGE,
            "%s draws a new layout, --as-done keeps a change in the one that is "
            "there; expected layout FILE.qx --as-done DONE.csv --reason TEXT",
            drawing);
    }
    size_t changes = 0;
    const qx_change_wish wish = {.trial = call->file[0],
                                 .done = call->done,
                                 .by = call->by,
                                 .reason = call->reason};
    if (!qx_is_trial_file(call->file[0]) || !qx_call_has(call, QX_FLAG_REASON)) {
        return qx_fail(call->cx,
                       QX_E_USAGE,
                       "a change of the layout needs a trial file and a reason; expected "
                       "layout FILE.qx --as-done DONE.csv --reason TEXT");
    }
    QX_TRY(qx_change_layout(call->cx, &wish, call->problems, &changes));
    if (qx_call_has(call, QX_FLAG_JSON)) {
        qx_text_printf(call->answer, "{\"quincunx\": 1, \"changes\": %zu}\n", changes);
    } else {
        qx_text_printf(call->answer,
                       changes == 1 ? "%zu change kept; analyses go by what was done\n"
                                    : "%zu changes kept; analyses go by what was done\n",
                       changes);
    }
    return QX_OK;
}

static qx_status run(qx_call *call)
{
    return call->done != NULL ? carry_out(call) : draw(call);
}

const qx_verb qx_verb_layout = {
    .name = "layout",
    .summary = "a trial file with the randomised layout",
    .usage = "PROTOCOL [--trees TREES.csv] [--seed N] -o FILE.qx  or  FILE.qx --as-done "
             "DONE.csv --reason TEXT",
    .about =
        "Draws which unit gets which treatment and makes the trial file. The same "
        "seed\ngives the same layout; without one it is drawn and told. A trial file "
        "is never\noverwritten. With a list of trees (row, place, trunk circumference or "
        "diameter, notes,\nstatus; CSV or spreadsheet) blocks are formed from trees that "
        "are alike and near, and --pictures\ndraws a map and the blocks. With --as-done "
        "what was done otherwise than drawn is kept, "
        "with the reason.\nIn JSON, `within` holds the numbers (from 0) of the "
        "entries of\n`placed` that a thing stands in.\n",
    .example = "  quincunx layout pears.yaml --seed 20260301 -o pears.qx\n"
               "  quincunx layout pears.yaml --trees trees.csv --reach 12 -o pears.qx\n"
               "  quincunx layout pears.qx --as-done mixed-up.csv --reason \"labels "
               "swapped\"\n",
    .flags = QX_FLAG_JSON | QX_FLAG_SEED | QX_FLAG_OUT | QX_FLAG_BY | QX_FLAG_TREES |
             QX_FLAG_REACH | QX_FLAG_DONE | QX_FLAG_REASON | QX_FLAG_PICTURES,
    .files_least = 1,
    .files_most = 1,
    .run = run};

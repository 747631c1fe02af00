#include "findings/looks_of.h"

#include <math.h>

#include "layout/layout.h"
#include "model/looks.h"

#define SIMULATED   100000
#define SEED        20251
#define FEW         0.75  /* a share of the planned things below it is worth a word */
#define NEVER_LEVEL 1e-12 /* where nothing may be spent yet */

/* --- counting --- */

size_t qx_lowest_placed(const qx_work *w, const struct qx_layout *layout, size_t *planned)
{
    for (size_t k = w->data.unit_count; k-- > 0;) {
        size_t placed = 0;
        for (size_t i = 0; i < layout->placed_count; i++) {
            placed += (size_t)(layout->placed[i].unit == w->data.unit[k].unit);
        }
        if (placed > 0 && !w->data.unit[k].by_season) {
            *planned = placed;
            return k;
        }
    }
    return QX_NO_COLUMN;
}

static qx_status count_things(qx_work *w, size_t unit, size_t *things)
{
    const qx_factor *factor = &w->data.frame.factor[w->data.unit[unit].factor];
    const bool seasons = w->data.season != QX_NO_COLUMN;
    const qx_factor *season = seasons ? &w->data.frame.factor[w->data.season] : NULL;
    const size_t season_count = seasons ? season->level_count : 1;
    bool *seen;
    QX_NEW(w->cx, seen, w->data.unit[unit].count * season_count);
    *things = 0;
    for (size_t i = 0; i < w->data.n; i++) {
        const size_t at =
            factor->code[i] * season_count + (seasons ? season->code[i] : 0);
        *things += (size_t)!seen[at];
        seen[at] = true;
    }
    return QX_OK;
}

static qx_status count_all(qx_work *w, const struct qx_layout *layout)
{
    size_t planned = 0;
    const size_t unit = qx_lowest_placed(w, layout, &planned);
    if (unit == QX_NO_COLUMN) {
        return QX_OK;
    }
    const size_t seasons = w->protocol->seasons.level_count;
    w->result->look.planned = planned * (seasons > 0 ? seasons : 1);
    w->result->look.unit = w->protocol->unit[w->data.unit[unit].unit].name;
    qx_status status;
    QX_SCRATCH(w->cx, status, count_things(w, unit, &w->result->look.things));
    return status;
}

/* --- which look this is --- */

/* Shares of the earlier looks that had fewer things, and of this one. Gives how many. */
static size_t
shares_of(const qx_work *w, const qx_look_history *history, double share[QX_LOOKS_MOST])
{
    const qx_result_look *look = &w->result->look;
    size_t count = 0;
    for (size_t i = 0; history != NULL && i < history->count; i++) {
        if (history->things[i] < look->things && count < QX_LOOKS_MOST - 1) {
            share[count++] = (double)history->things[i] / (double)look->planned;
        }
    }
    share[count] = fmin(1.0, (double)look->things / (double)look->planned);
    return count + 1;
}

static qx_status spend(qx_work *w, size_t count, double share[])
{
    qx_look limit[QX_LOOKS_MOST];
    qx_result_look *look = &w->result->look;
    if (count == look->declared) {
        share[count - 1] = 1.0; /* the last one may spend what is left */
    }
    QX_TRY(
        qx_looks_limits(w->cx, count, share, 1.0 - w->protocol->analysis.level, limit));
    look->level = limit[count - 1].nominal;
    w->alpha = look->level > 0.0 ? look->level : NEVER_LEVEL;
    w->level = 1.0 - w->alpha;
    return qx_note(
        w->cx,
        "Look %zu of %zu that were declared, at %.0f %% of the planned %s "
        "values: differences are called out at %.2g %% here, so that all looks "
        "together stay at %g %% (Lan & DeMets 1983).",
        count,
        look->declared,
        100.0 * look->share,
        look->unit,
        100.0 * look->level,
        100.0 * (1.0 - w->protocol->analysis.level));
}

qx_status
qx_looks_of(qx_work *w, const struct qx_layout *layout, const qx_look_history *history)
{
    double share[QX_LOOKS_MOST];
    qx_result_look *look = &w->result->look;
    look->declared = (size_t)w->protocol->analysis.looks;
    look->error = (double)NAN;
    if (layout == NULL || w->data.n == 0) {
        return QX_OK;
    }
    QX_TRY(count_all(w, layout));
    if (look->planned == 0) {
        return QX_OK;
    }
    const size_t count = shares_of(w, history, share);
    look->number = count;
    look->share = share[count - 1];
    look->level = 1.0 - w->protocol->analysis.level;
    if (look->declared > 1 && count <= look->declared) {
        return spend(w, count, share);
    }
    if (count == 1 && look->share < FEW) {
        look->early = true;
        return qx_note(w->cx,
                       "Only %.0f %% of the planned %s values are in. If more will come, "
                       "this look at the results must be declared beforehand (analysis: "
                       "{looks: 2}), or later tests are not at their level.",
                       100.0 * look->share,
                       look->unit);
    }
    return QX_OK;
}

/* --- looks that nobody declared --- */

/* df of the first test that has some: those of the treatments' units. */
static double df_of(const qx_work *w)
{
    for (size_t i = 0; i < w->result->difference_count; i++) {
        if (w->result->difference[i].df > 0.0) {
            return w->result->difference[i].df;
        }
    }
    return (double)INFINITY;
}

qx_status qx_looks_error_of(qx_work *w, const qx_look_history *history)
{
    qx_result_look *look = &w->result->look;
    double share[QX_LOOKS_MOST], nominal[QX_LOOKS_MOST], df[QX_LOOKS_MOST];
    if (look->number <= 1 || look->number <= look->declared) {
        return QX_OK;
    }
    const size_t count = shares_of(w, history, share);
    const double now = df_of(w);
    for (size_t k = 0; k < count; k++) {
        share[k] /= look->share;
        df[k] = fmax(1.0, share[k] * (now + 2.0) - 2.0);
        nominal[k] = 1.0 - w->protocol->analysis.level;
    }
    share[count - 1] = 1.0;
    df[count - 1] = now;
    QX_TRY(qx_looks_error_of_t(
        w->cx, count, share, df, nominal, SIMULATED, SEED, &look->error));
    return qx_note(w->cx,
                   "These results were looked at before, when fewer values were in, and "
                   "that was not "
                   "declared%s. With %zu such looks at "
                   "%g %% the true error rate of one comparison is %.1f %% (simulated).",
                   look->things > look->planned ? ": replicates were added after a look"
                                                : "",
                   count,
                   100.0 * (1.0 - w->protocol->analysis.level),
                   100.0 * look->error);
}

#include "layout/restrict.h"

#include <string.h>

#include "layout/ground.h"

#define TRIES       300   /* draws to throw away before the chain takes over */
#define GROUP_TRIES 20000 /* of one group that is drawn by itself */
#define THETA       0.2   /* weight of one broken rule in the chain */
#define STEPS       60    /* of the chain for each plot between two looks */
#define LOOKS       400
#define EVEN_LEVELS 20  /* thresholds while neighbours are evened out */
#define EVEN_STEPS  200 /* for each plot at each threshold */
#define NOBODY      ((size_t)-1)

typedef struct keeping {
    qx_drawing *d;
    bool apart, even;
    size_t (*beside)[2]; /* neighbours of each plot, NOBODY if there are fewer */
    size_t *code;        /* of each combination: what must not stand side by side */
    size_t codes;
    size_t *group_start; /* plots of each group in group_plot */
    size_t *group_plot;
    size_t *m; /* codes x codes: times side by side, in both triangles */
} keeping;

static bool wished(const qx_plan *plan, const qx_stratum *s, bool apart)
{
    const qx_layout_wishes *wishes = plan->spec->wishes;
    if (wishes == NULL) {
        return false;
    }
    const bool *list = apart ? wishes->apart : wishes->even_neighbours;
    for (size_t i = 0; list != NULL && i < s->treatment_count; i++) {
        if (list[s->treatment[i]]) {
            return true;
        }
    }
    return false;
}

bool qx_restricts(const qx_plan *plan, const qx_stratum *stratum)
{
    return wished(plan, stratum, true) || wished(plan, stratum, false);
}

bool qx_wants_even(const qx_plan *plan, const qx_stratum *stratum)
{
    return wished(plan, stratum, false);
}

/* --- lists --- */

static qx_status list_neighbours(keeping *k)
{
    qx_drawing *d = k->d;
    const qx_ground ground = qx_ground_of(d->plan, d->places);
    const size_t first = d->places->first[d->stratum->unit];
    qx_neighbours n = {0};
    size_t *plot = NULL; /* of each thing of the unit */
    QX_TRY(qx_ground_neighbours(
        d->cx, qx_ctx_scratch(d->cx), &ground, d->stratum->unit, &n));
    QX_NEW(d->cx, plot, d->places->things[d->stratum->unit]);
    QX_NEW(d->cx, k->beside, d->plots);
    for (size_t i = 0; i < d->places->things[d->stratum->unit]; i++) {
        plot[i] = NOBODY;
    }
    for (size_t i = 0; i < d->plots; i++) {
        plot[d->plot[i] - first] = i;
        k->beside[i][0] = k->beside[i][1] = NOBODY;
    }
    for (size_t i = 0; i < n.count; i++) {
        const size_t a = plot[n.pair[i][0] - first];
        const size_t b = plot[n.pair[i][1] - first];
        if (a != NOBODY && b != NOBODY) {
            k->beside[a][1] = b;
            k->beside[b][0] = a;
        }
    }
    return QX_OK;
}

/* What must not meet: the combination of the treatments that were named; all treatments of
 * the unit where neighbours are evened out. */
static qx_status list_codes(keeping *k)
{
    const qx_drawing *d = k->d;
    const qx_stratum *s = d->stratum;
    const bool *apart = d->plan->spec->wishes->apart;
    QX_NEW(d->cx, k->code, s->combinations);
    for (size_t c = 0; c < s->combinations; c++) {
        size_t cell = s->cell == NULL ? c : s->cell[c];
        size_t scale = 1;
        for (size_t i = s->treatment_count; i-- > 0;) {
            const size_t t = s->treatment[i];
            const size_t levels = d->plan->spec->treatment[t].level_count;
            if (k->even || (apart != NULL && apart[t])) {
                k->code[c] += cell % levels * scale;
                scale *= levels;
            }
            cell /= levels;
        }
        k->codes = k->code[c] + 1 > k->codes ? k->code[c] + 1 : k->codes;
    }
    return QX_OK;
}

static qx_status list_groups(keeping *k)
{
    const qx_drawing *d = k->d;
    QX_NEW(d->cx, k->group_start, d->group_count + 2);
    QX_NEW(d->cx, k->group_plot, d->plots);
    for (size_t i = 0; i < d->plots; i++) {
        k->group_start[d->group[i] + 2]++;
    }
    for (size_t g = 0; g < d->group_count; g++) {
        k->group_start[g + 2] += k->group_start[g + 1];
    }
    for (size_t i = 0; i < d->plots; i++) {
        k->group_plot[k->group_start[d->group[i] + 1]++] = i;
    }
    return QX_OK;
}

/* --- apart --- */

static size_t code_at(const keeping *k, size_t plot)
{
    return k->code[k->d->combination[plot]];
}

/* Broken rules at one plot. */
static size_t broken_at(const keeping *k, size_t plot)
{
    size_t broken = 0;
    for (size_t side = 0; side < 2; side++) {
        const size_t other = k->beside[plot][side];
        broken += other != NOBODY && code_at(k, other) == code_at(k, plot) ? 1 : 0;
    }
    return broken;
}

static bool is_kept(const keeping *k)
{
    for (size_t i = 0; i < k->d->plots; i++) {
        if (broken_at(k, i) > 0) {
            return false;
        }
    }
    return true;
}

static void exchange(const keeping *k, size_t p, size_t q)
{
    const size_t kept = k->d->combination[p];
    k->d->combination[p] = k->d->combination[q];
    k->d->combination[q] = kept;
}

/* Two plots of one group. */
static void pick(const keeping *k, qx_rng *rng, size_t *p, size_t *q)
{
    *p = (size_t)qx_rng_below(rng, k->d->plots);
    const size_t from = k->group_start[k->d->group[*p]];
    const size_t count = k->group_start[k->d->group[*p] + 1] - from;
    *q = k->group_plot[from + qx_rng_below(rng, count)];
}

/* Neighbours that change places keep what they have between them: counted twice before and
 * after alike. */
static void chain_step(const keeping *k)
{
    size_t p = 0;
    size_t q = 0;
    pick(k, &k->d->rng, &p, &q);
    const size_t before = broken_at(k, p) + broken_at(k, q);
    exchange(k, p, q);
    const size_t after = broken_at(k, p) + broken_at(k, q);
    double chance = 1;
    for (size_t i = before; i < after; i++) {
        chance *= THETA;
    }
    if (chance < 1 && qx_rng_uniform(&k->d->rng) >= chance) {
        exchange(k, p, q);
    }
}

static bool chain_keeps(const keeping *k)
{
    for (size_t look = 0; look < LOOKS; look++) {
        for (size_t i = 0; i < k->d->plots * STEPS; i++) {
            chain_step(k);
        }
        if (is_kept(k)) {
            return true;
        }
    }
    return false;
}

/* Do neighbours stand in one group alone, and may each group be drawn by itself? */
static bool groups_alone(const keeping *k)
{
    const qx_drawing *d = k->d;
    for (size_t i = 0; i < d->plots; i++) {
        const size_t next = k->beside[i][1];
        if (next != NOBODY && d->group[next] != d->group[i]) {
            return false;
        }
    }
    return d->stratum->rule == QX_RULE_SHUFFLE;
}

static bool group_is_kept(const keeping *k, size_t g)
{
    for (size_t x = k->group_start[g]; x < k->group_start[g + 1]; x++) {
        if (broken_at(k, k->group_plot[x]) > 0) {
            return false;
        }
    }
    return true;
}

/* Shuffles each group until it keeps the rule: exact, for the groups are independent. */
static bool shuffle_groups(const keeping *k)
{
    for (size_t g = 0; g < k->d->group_count; g++) {
        const size_t *plot = k->group_plot + k->group_start[g];
        const size_t count = k->group_start[g + 1] - k->group_start[g];
        for (size_t draw = 0; !group_is_kept(k, g); draw++) {
            if (draw == GROUP_TRIES) {
                return false;
            }
            for (size_t i = count; i > 1; i--) {
                exchange(k, plot[i - 1], plot[qx_rng_below(&k->d->rng, i)]);
            }
        }
    }
    return true;
}

static bool crossed(const qx_stratum *s)
{
    return s->rule == QX_RULE_LATIN || s->rule == QX_RULE_ROWCOL;
}

static qx_status keep_apart(keeping *k, qx_status (*draw)(qx_drawing *d))
{
    qx_drawing *d = k->d;
    if (groups_alone(k)) {
        QX_TRY(draw(d));
        if (shuffle_groups(k)) {
            return QX_OK;
        }
    }
    for (size_t i = 0; i < TRIES; i++) {
        qx_status status = QX_OK;
        QX_SCRATCH(d->cx, status, draw(d));
        QX_TRY(status);
        if (is_kept(k)) {
            return QX_OK;
        }
    }
    if (!crossed(d->stratum) && chain_keeps(k)) {
        return QX_OK;
    }
    return qx_fail(d->cx,
                   QX_E_INPUT,
                   "no layout was found in which %s never stands beside itself; expected "
                   "fewer replicates in a row, more levels, or no \"apart\"",
                   d->plan->spec->treatment[d->stratum->treatment[0]].name);
}

/* --- even neighbours --- */

static void count(const keeping *k, size_t a, size_t b, size_t by)
{
    k->m[a * k->codes + b] += by;
    k->m[b * k->codes + a] += by;
}

/* Adds (by = 1) or takes away (by = -1) the pairs of p and q; gives the sum of squares that
 * these cells have before. */
static void count_pairs(const keeping *k, size_t p, size_t q, size_t by)
{
    for (size_t side = 0; side < 2; side++) {
        const size_t at_p = k->beside[p][side];
        const size_t at_q = k->beside[q][side];
        if (at_p != NOBODY) {
            count(k, code_at(k, p), code_at(k, at_p), by);
        }
        if (at_q != NOBODY && at_q != p) {
            count(k, code_at(k, q), code_at(k, at_q), by);
        }
    }
}

/* Weighted squares of the counts in the rows of two codes: same beside same counts 16. */
static double squares(const keeping *k, size_t a, size_t b)
{
    double sum = 0;
    for (size_t j = 0; j < k->codes; j++) {
        const double at_a = (double)k->m[a * k->codes + j];
        const double at_b = (double)k->m[b * k->codes + j];
        sum += (j == a ? 4 : 1) * at_a * at_a + (j == b ? 4 : 1) * at_b * at_b;
    }
    const double both = (double)k->m[a * k->codes + b];
    return sum - both * both;
}

static void even_step(const keeping *k, double threshold)
{
    size_t p = 0;
    size_t q = 0;
    pick(k, &k->d->search, &p, &q);
    const size_t a = code_at(k, p);
    const size_t b = code_at(k, q);
    if (a == b) {
        return;
    }
    const double before = squares(k, a, b);
    count_pairs(k, p, q, (size_t)-1);
    exchange(k, p, q);
    count_pairs(k, p, q, 1);
    if (squares(k, a, b) - before >= threshold) {
        count_pairs(k, p, q, (size_t)-1);
        exchange(k, p, q);
        count_pairs(k, p, q, 1);
    }
}

static qx_status make_even(keeping *k)
{
    qx_drawing *d = k->d;
    size_t *name = NULL;
    QX_NEW(d->cx, k->m, k->codes * k->codes);
    QX_NEW(d->cx, name, d->stratum->combinations);
    for (size_t i = 0; i < d->plots; i++) {
        if (k->beside[i][1] != NOBODY) {
            count(k, code_at(k, i), code_at(k, k->beside[i][1]), 1);
        }
    }
    for (size_t level = 0; level < EVEN_LEVELS; level++) {
        const double threshold = 4.0 * (double)(EVEN_LEVELS - 1 - level) / EVEN_LEVELS;
        for (size_t i = 0; i < d->plots * EVEN_STEPS; i++) {
            even_step(k, threshold);
        }
    }
    QX_TRY(qx_drawing_relabel(d, name));
    for (size_t i = 0; i < d->plots; i++) {
        d->combination[i] = name[d->combination[i]];
    }
    return QX_OK;
}

qx_status qx_restrict(qx_drawing *d, qx_status (*draw)(qx_drawing *d))
{
    keeping k = {.d = d,
                 .apart = wished(d->plan, d->stratum, true),
                 .even = !crossed(d->stratum) && wished(d->plan, d->stratum, false)};
    if (!k.apart && !k.even) {
        return draw(d);
    }
    QX_TRY(list_neighbours(&k));
    QX_TRY(list_codes(&k));
    QX_TRY(list_groups(&k));
    if (!k.even) {
        return keep_apart(&k, draw);
    }
    QX_TRY(draw(d));
    QX_TRY(make_even(&k));
    if (k.apart && !is_kept(&k)) {
        return qx_fail(d->cx,
                       QX_E_INPUT,
                       "no layout with even neighbours was found in which none stands "
                       "beside itself; expected one of the two wishes");
    }
    return QX_OK;
}

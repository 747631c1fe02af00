#include "findings/truth_draw.h"

#include <math.h>
#include <string.h>

#include "findings/averaged.h"

#define END QX_AVERAGED_END
/* Shares typed by people sum to one within this. */
#define SUM_SLACK 1e-6

typedef struct maker {
    qx_ctx *cx;
    qx_arena *arena;
    const qx_protocol *p;
    qx_truth_draw *d;
    double *base, *level, *season, *sd, *sd_season;
    size_t *wanted;
    double variance;      /* of the random parts, all units together */
    qx_averaged averaged; /* over these */
} maker;

static bool by_season(const char *factor)
{
    return strcmp(factor, "season") == 0;
}

/* Treatment (season: QX_NONE) and level of a name pair; QX_E_ARG when unknown. */
static qx_status
look_up(maker *m, const char *factor, const char *level, size_t *t, size_t *l)
{
    const qx_protocol *p = m->p;
    const bool season = by_season(factor);
    *t = season ? QX_NONE : qx_protocol_find_treatment(p, factor);
    if (!season && *t == QX_NONE) {
        return qx_fail(
            m->cx, QX_E_ARG, "the truth names %s, which is no treatment", factor);
    }
    *l = qx_level_find(season ? p->seasons.level_count : p->treatment[*t].level_count,
                       season ? p->seasons.level : p->treatment[*t].level,
                       level,
                       strlen(level));
    if (*l == QX_NONE) {
        return qx_fail(
            m->cx, QX_E_ARG, "the truth names %s %s, which is no level", factor, level);
    }
    return QX_OK;
}

/* only: number of the class behind the first that it acts on, or 0: all of them. */
static qx_status fill_effect(maker *m, const qx_truth_effect *effect, size_t only)
{
    const qx_truth_draw *d = m->d;
    size_t t, l;
    QX_TRY(look_up(m, effect->factor, effect->level, &t, &l));
    double *at = t == QX_NONE ? &m->season[l * d->shifts]
                              : &m->level[(d->first[t] + l) * d->shifts];
    for (size_t s = 0; s < d->shifts; s++) {
        at[s] = only == 0 || only == s + 1 ? effect->effect : at[s];
    }
    return QX_OK;
}

static qx_status fill_class_effect(maker *m, const qx_truth_class_effect *effect)
{
    const qx_variate *v = m->d->variate;
    const size_t only =
        qx_level_find(v->level_count, v->level, effect->class_, strlen(effect->class_));
    if (only == QX_NONE || only == 0 || v->kind != QX_NOMINAL) {
        return qx_fail(m->cx,
                       QX_E_ARG,
                       "the truth acts on %s, which is no class behind the first",
                       effect->class_);
    }
    return fill_effect(m, &effect->effect, only);
}

static qx_status fill_spread(maker *m, const qx_truth_spread *spread)
{
    const size_t unit = qx_protocol_find_unit(m->p, spread->unit);
    if (unit == QX_NONE) {
        return qx_fail(
            m->cx, QX_E_ARG, "the truth names %s, which is no unit", spread->unit);
    }
    m->sd[unit] = spread->sd;
    m->sd_season[unit] = spread->sd_season;
    if (qx_unit_reaches(m->p, unit, m->d->variate->on)) {
        m->variance += spread->sd * spread->sd + spread->sd_season * spread->sd_season;
    }
    return QX_OK;
}

/* Thresholds of grades and log odds of classes from their shares. */
static qx_status
fill_shares(maker *m, const double share[], bool over_units, double base[])
{
    const size_t classes = m->d->variate->level_count;
    double sum = 0.0;
    if (share == NULL) {
        return qx_fail(m->cx,
                       QX_E_ARG,
                       "the truth has no shares of the classes of %s",
                       m->d->variate->name);
    }
    for (size_t c = 0; c < classes; c++) {
        if (!(share[c] >= 0.0 && share[c] <= 1.0)) {
            return qx_fail(
                m->cx, QX_E_ARG, "a share of %s is not from 0 to 1", m->d->variate->name);
        }
        sum += share[c];
    }
    if (!(fabs(sum - 1.0) <= SUM_SLACK)) {
        return qx_fail(
            m->cx, QX_E_ARG, "the shares of %s do not sum to 1", m->d->variate->name);
    }
    double below = 0.0;
    for (size_t c = 0; c + 1 < classes; c++) {
        below += share[c];
        if (m->d->variate->kind == QX_ORDINAL) {
            const double inside = fmin(below, 1.0);
            base[c] =
                over_units
                    ? qx_averaged_base(&m->averaged, inside)
                    : fmin(fmax(qx_link_predictor(QX_LINK_LOGIT, inside), -END), END);
        } else {
            const double odds = log(share[c + 1]) - log(share[0]);
            base[c] = isnan(odds) ? -END : fmin(fmax(odds, -END), END);
        }
    }
    return QX_OK;
}

static qx_status fill_base(maker *m, size_t b, const qx_truth_mean *assumed)
{
    const qx_truth *truth = m->d->truth;
    double *base = &m->base[b * m->d->width];
    if (qx_variate_has_classes(m->d->variate)) {
        return fill_shares(
            m, assumed == NULL ? truth->share : assumed->share, assumed != NULL, base);
    }
    if (assumed == NULL) {
        *base = truth->mean;
        return QX_OK;
    }
    const bool share = m->d->variate->kind == QX_PROPORTION;
    const bool count = m->d->variate->kind == QX_COUNT;
    if (!isfinite(assumed->mean) || ((share || count) && assumed->mean < 0.0) ||
        (share && assumed->mean > 1.0)) {
        return qx_fail(m->cx,
                       QX_E_ARG,
                       "an assumed mean of %s cannot be %g",
                       m->d->variate->name,
                       assumed->mean);
    }
    *base = qx_averaged_base(&m->averaged, assumed->mean);
    return QX_OK;
}

static qx_status fill_assumed(maker *m, size_t b, const qx_truth_mean *assumed)
{
    size_t *wanted = &m->wanted[b * (1 + m->p->treatment_count)];
    for (size_t i = 0; i < assumed->count; i++) {
        size_t t, l;
        QX_TRY(look_up(m, assumed->factor[i], assumed->level[i], &t, &l));
        wanted[t == QX_NONE ? 0 : 1 + t] = l;
    }
    return fill_base(m, b, assumed);
}

static qx_status find_variate(maker *m)
{
    const char *name = m->d->truth->variate;
    for (size_t v = 0; v < m->p->variate_count; v++) {
        if (strcmp(m->p->variate[v].name, name) == 0) {
            m->d->variate = &m->p->variate[v];
            return QX_OK;
        }
    }
    return qx_fail(m->cx, QX_E_ARG, "the truth names %s, which is no variate", name);
}

/* Family, link and how many numbers a base and a shift have. */
static void set_kind(maker *m)
{
    static const qx_link link[] = {[QX_SHARE_LOGIT] = QX_LINK_LOGIT,
                                   [QX_SHARE_PROBIT] = QX_LINK_PROBIT,
                                   [QX_SHARE_CLOGLOG] = QX_LINK_CLOGLOG};
    qx_truth_draw *d = m->d;
    const bool extra = d->truth->extra > 0.0;
    d->width = d->shifts = 1;
    d->link = QX_LINK_IDENTITY;
    switch (d->variate->kind) {
    case QX_COUNT:
        d->link = QX_LINK_LOG;
        d->family = extra ? &qx_family_negbin : &qx_family_poisson;
        break;
    case QX_PROPORTION:
        d->link = link[d->variate->link];
        d->family = extra ? &qx_family_betabin : &qx_family_binomial;
        break;
    case QX_ORDINAL:
        d->link = QX_LINK_LOGIT;
        d->width = d->variate->level_count - 1;
        break;
    case QX_NOMINAL:
        d->link = QX_LINK_LOGIT;
        d->width = d->shifts = d->variate->level_count - 1;
        break;
    case QX_CONTINUOUS:
        break;
    }
    if (d->family != NULL && extra) {
        d->psi = d->family->spread(d->truth->extra);
    }
}

static qx_status make_room(maker *m)
{
    const qx_protocol *p = m->p;
    qx_truth_draw *d = m->d;
    const size_t seasons = p->seasons.level_count > 0 ? p->seasons.level_count : 1;
    size_t levels = 0, *first;
    QX_NEW_IN(m->cx, m->arena, first, p->treatment_count);
    for (size_t t = 0; t < p->treatment_count; t++) {
        first[t] = levels;
        levels += p->treatment[t].level_count;
    }
    d->first = first;
    d->base_count = d->truth->assumed_count > 0 ? d->truth->assumed_count : 1;
    const size_t wanted = d->base_count * (1 + p->treatment_count);
    QX_NEW_IN(m->cx, m->arena, m->base, d->base_count * d->width);
    QX_NEW_IN(m->cx, m->arena, m->wanted, wanted);
    QX_NEW_IN(m->cx, m->arena, m->level, levels * d->shifts);
    QX_NEW_IN(m->cx, m->arena, m->season, seasons * d->shifts);
    QX_NEW_IN(m->cx, m->arena, m->sd, p->unit_count);
    QX_NEW_IN(m->cx, m->arena, m->sd_season, p->unit_count);
    for (size_t i = 0; i < wanted; i++) {
        m->wanted[i] = QX_NONE;
    }
    d->base = m->base;
    d->wanted = m->wanted;
    d->level = m->level;
    d->season = m->season;
    d->sd = m->sd;
    d->sd_season = m->sd_season;
    return QX_OK;
}

qx_status qx_truth_draw_make(qx_ctx *cx,
                             qx_arena *arena,
                             const qx_protocol *protocol,
                             const qx_truth *truth,
                             qx_truth_draw *out)
{
    maker m = {.cx = cx, .arena = arena, .p = protocol, .d = out};
    *out = (qx_truth_draw){.truth = truth};
    QX_TRY(find_variate(&m));
    set_kind(&m);
    QX_TRY(make_room(&m));
    for (size_t i = 0; i < truth->spread_count; i++) {
        QX_TRY(fill_spread(&m, &truth->spread[i]));
    }
    QX_TRY(qx_averaged_make(cx, out->link, m.variance, &m.averaged));
    for (size_t i = 0; i < truth->effect_count && truth->assumed_count == 0; i++) {
        QX_TRY(fill_effect(&m, &truth->effect[i], 0));
    }
    for (size_t i = 0; i < truth->class_effect_count && truth->assumed_count == 0; i++) {
        QX_TRY(fill_class_effect(&m, &truth->class_effect[i]));
    }
    for (size_t i = 0; i < truth->assumed_count; i++) {
        QX_TRY(fill_assumed(&m, i, &truth->assumed[i]));
    }
    return truth->assumed_count == 0 ? fill_base(&m, 0, NULL) : QX_OK;
}

const double *qx_truth_draw_base(const qx_truth_draw *d,
                                 size_t treatment_count,
                                 const size_t level[],
                                 size_t season)
{
    for (size_t b = 0; b < d->base_count; b++) {
        const size_t *wanted = &d->wanted[b * (1 + treatment_count)];
        bool fits = wanted[0] == QX_NONE || wanted[0] == season;
        for (size_t t = 0; fits && t < treatment_count; t++) {
            fits = wanted[1 + t] == QX_NONE || wanted[1 + t] == level[t];
        }
        if (fits) {
            return &d->base[b * d->width];
        }
    }
    return NULL;
}

static double
draw_grade(const qx_truth_draw *d, qx_rng *rng, const double base[], double shift)
{
    const double u = qx_rng_uniform(rng);
    size_t grade = 0;
    while (grade < d->width && u > qx_link_mean(QX_LINK_LOGIT, base[grade] - shift)) {
        grade++;
    }
    return (double)grade;
}

static double
draw_class(const qx_truth_draw *d, qx_rng *rng, const double base[], const double shift[])
{
    double total = 1.0;
    for (size_t c = 0; c < d->width; c++) {
        total += exp(base[c] + shift[c]);
    }
    double u = qx_rng_uniform(rng) * total - 1.0;
    size_t at = 0;
    while (u > 0.0 && at < d->width) {
        u -= exp(base[at] + shift[at]);
        at++;
    }
    return (double)at;
}

double qx_truth_draw_value(const qx_truth_draw *d,
                           qx_rng *rng,
                           const double base[],
                           const double shift[],
                           double size)
{
    switch (d->variate->kind) {
    case QX_COUNT:
    case QX_PROPORTION:
        return d->family->simulate(
            rng, size, qx_link_mean(d->link, *base + *shift), d->psi);
    case QX_ORDINAL:
        return draw_grade(d, rng, base, *shift);
    case QX_NOMINAL:
        return draw_class(d, rng, base, shift);
    case QX_CONTINUOUS:
        break;
    }
    return *base + *shift;
}

double qx_truth_draw_read_off(const qx_truth_draw *d, double y)
{
    const qx_variate *v = d->variate;
    const double step = d->truth->step;
    if (v->has_range) {
        y = fmin(fmax(y, v->low), v->high);
    }
    return step > 0.0 ? step * round(y / step) : y;
}

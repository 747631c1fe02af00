/* findings/simulate.h - the data that a trial would give if the truth were known.
 *
 *   y = mean + sum of effects + sum over units above (u + u in that season) + e
 *
 *   u     between things of a unit, the same in every season       N(0, sd^2)
 *   u(s)  what one season adds to a thing, new in each             N(0, sd_season^2)
 *   e     between things sampled while recording                   N(0, sd^2)
 *
 * Counts, shares, grades and classes are drawn from the same sum as a linear predictor:
 *
 *   count     Poisson or, with `extra`, negative binomial; mean exp(sum)
 *   share     binomial or, with `extra`, beta-binomial of `size`; mean by the share's link
 *   grade     P(Y <= j) = logistic(threshold_j - sum), thresholds from `share`
 *   class     log odds of class j against the first = those of `share` + the effects on j,
 *             and each thing has an effect of its own for each of these classes
 *
 * so that mean, effects and spreads are on that scale, and the spread of the variate's own
 * unit is what each thing has beyond chance. Who would rather think in the unit that is
 * measured gives `assumed` means: what is seen over many units with these spreads.
 *
 * The layout says where everything stands and what chance gave it; a truth says how large
 * the effects and the variations are. Values are rounded as a person would read them off,
 * kept inside the variate's range, and some are lost. Covariates stand in as numbers between
 * 0 and 1 that explain nothing, each with a stream after those of truths and losses: the
 * spreads are what a covariate leaves. What comes out is a data file, so
 * that simulated data take the same way as recorded ones.
 *
 * Random numbers: variate k of the truths has stream k of the seed (numeric/rng.h), so the
 * same seed gives the same file on every machine, and another truth for one variate leaves
 * the others as they are.
 *
 * Not here: the same trial again and again without text (redraw.h); interactions of
 * treatments other than by assumed means. */
#ifndef QX_FINDINGS_SIMULATE_H
#define QX_FINDINGS_SIMULATE_H

#include "base/ctx.h"
#include "base/text.h"
#include "layout/layout.h"
#include "trial/protocol.h"

#define QX_TRUTH_FACTORS_MOST 4

typedef struct qx_truth_effect {
    const char *factor; /* a treatment, or "season" */
    const char *level;
    double effect; /* unit of the variate; levels that are not named have 0 */
} qx_truth_effect;

/* Classes without order: an effect on the log odds of one class against the first. */
typedef struct qx_truth_class_effect {
    const char *class_; /* not the first */
    qx_truth_effect effect;
} qx_truth_class_effect;

/* What is seen of the things with these levels, averaged over many units. The first that
 * fits a thing counts; a treatment that is not named may have any level. */
typedef struct qx_truth_mean {
    size_t count;
    const char *factor[QX_TRUTH_FACTORS_MOST]; /* treatments, or "season" */
    const char *level[QX_TRUTH_FACTORS_MOST];
    double mean; /* value, count or share; a share of 0 or 1 is all but that */
    const double
        *share; /* grades, classes: of each; at random effects of zero for classes */
} qx_truth_mean;

typedef struct qx_truth_spread {
    const char *unit;
    double sd;        /* between things of the unit, unit of the variate */
    double sd_season; /* what each season adds to each thing */
} qx_truth_spread;

typedef struct qx_truth {
    const char *variate;
    double mean; /* where every effect is 0 */
    size_t effect_count;
    const qx_truth_effect *effect;
    size_t spread_count;
    const qx_truth_spread *spread; /* units that are not named have 0 */
    double step;                   /* values are read to this step; 0: not rounded */
    double lost;                   /* share of the values that are lost, 0 <= lost < 1 */
    double size;                   /* shares: of how many; 0: one thing, 1 or 0 */
    double extra;        /* theta or phi of contract section 3; 0: no extra variation */
    const double *share; /* grades, classes: of each where every effect is 0 */
    size_t class_effect_count; /* without order; `effect` acts on all but the first */
    const qx_truth_class_effect *class_effect;
    size_t assumed_count;
    const qx_truth_mean *assumed; /* instead of mean and effects; 0: those */
} qx_truth;

/* Things of a placed unit that are lost for good: chance picks them. */
typedef struct qx_truth_loss {
    const char *unit;
    size_t things;
    size_t season; /* lost from this season on, 0 the first */
} qx_truth_loss;

typedef struct qx_simulation {
    uint64_t seed;
    size_t samples; /* things sampled in each parent and season, for sampled units */
    size_t truth_count;
    const qx_truth *truth;
    size_t loss_count;
    const qx_truth_loss *loss;
} qx_simulation;

/* Adds header and rows of a data file to `csv`: the columns are season (if the protocol
 * separates seasons), the units, the treatments, the variates (of how many behind the
 * first that is a share of it); rows by season, then by unit
 * from large to small. Lost values are empty, their rows stand.
 * `csv` must live in an arena of its own, not in the scratch memory of `cx`.
 * Errors: QX_E_ARG (a name that the protocol does not know, shares that are not between 0
 * and 1 or do not sum to 1, a mean that cannot be, things that no assumed mean fits, a
 * sampled unit inside a sampled one), QX_E_NOMEM.
 * Cost: O(placed things x variates x seasons). */
qx_status qx_simulate_csv(qx_ctx *cx,
                          const qx_protocol *protocol,
                          const qx_layout *layout,
                          const qx_simulation *simulation,
                          qx_text *csv);

#endif

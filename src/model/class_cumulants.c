#include "model/class_cumulants.h"

#include <math.h>
#include <string.h>

#include "model/link.h"

/* Derivatives of one class's log probability, to the fourth. */
typedef struct slopes {
    size_t d;
    double *one, *two, *three, *four;
} slopes;

static size_t power(size_t d, int n)
{
    size_t out = 1;
    for (int i = 0; i < n; i++) {
        out *= d;
    }
    return out;
}

static qx_status slopes_room(qx_ctx *cx, size_t d, slopes *out)
{
    out->d = d;
    QX_NEW(cx, out->one, d);
    QX_NEW(cx, out->two, power(d, 2));
    QX_NEW(cx, out->three, power(d, 3));
    QX_NEW(cx, out->four, power(d, 4));
    return QX_OK;
}

qx_status qx_class_cumulants_room(qx_ctx *cx, size_t d, qx_class_cumulants *out)
{
    out->d = d;
    QX_NEW(cx, out->information, power(d, 2));
    QX_NEW(cx, out->third, power(d, 3));
    QX_NEW(cx, out->turn, power(d, 3));
    QX_NEW(cx, out->fourth, power(d, 4));
    return QX_OK;
}

/* ---- from probabilities to their logarithms -------------------------------------------- */

/* In place: derivatives of p over p become those of log p (Faa di Bruno). Each order needs the
 * logarithm's lower ones. */
static void to_logarithm(slopes *s)
{
    const size_t d = s->d, dd = d * d, ddd = dd * d;
    const double *g = s->one, *h = s->two, *t = s->three;
    for (size_t b = 0; b < d; b++) {
        for (size_t a = 0; a < d; a++) {
            s->two[a + d * b] -= g[a] * g[b];
        }
    }
    for (size_t c = 0; c < d; c++) {
        for (size_t b = 0; b < d; b++) {
            for (size_t a = 0; a < d; a++) {
                s->three[a + d * b + dd * c] -= h[a + d * b] * g[c] +
                                                h[a + d * c] * g[b] +
                                                h[b + d * c] * g[a] + g[a] * g[b] * g[c];
            }
        }
    }
    for (size_t at = 0; at < dd * dd; at++) {
        const size_t a = at % d, b = at / d % d, c = at / dd % d, e = at / ddd;
        s->four[at] -= t[a + d * b + dd * c] * g[e] + t[a + d * b + dd * e] * g[c] +
                       t[a + d * c + dd * e] * g[b] + t[b + d * c + dd * e] * g[a] +
                       h[a + d * b] * h[c + d * e] + h[a + d * c] * h[b + d * e] +
                       h[a + d * e] * h[b + d * c] + h[a + d * b] * g[c] * g[e] +
                       h[a + d * c] * g[b] * g[e] + h[a + d * e] * g[b] * g[c] +
                       h[b + d * c] * g[a] * g[e] + h[b + d * e] * g[a] * g[c] +
                       h[c + d * e] * g[a] * g[b] + g[a] * g[b] * g[c] * g[e];
    }
}

/* Logistic function's derivatives, first to fourth, over p, added at predictor j. */
static void add_logistic(slopes *s, size_t j, double eta, double over)
{
    const size_t d = s->d;
    const double q = qx_link_mean(QX_LINK_LOGIT, eta), w = q * (1.0 - q),
                 z = 1.0 - 2.0 * q;
    s->one[j] += w / over;
    s->two[j + d * j] += w * z / over;
    s->three[j + d * j + d * d * j] += w * (z * z - 2.0 * w) / over;
    s->four[j + d * j + d * d * j + d * d * d * j] += w * z * (z * z - 8.0 * w) / over;
}

static void clear(slopes *s)
{
    memset(s->one, 0, s->d * sizeof *s->one);
    memset(s->two, 0, power(s->d, 2) * sizeof *s->two);
    memset(s->three, 0, power(s->d, 3) * sizeof *s->three);
    memset(s->four, 0, power(s->d, 4) * sizeof *s->four);
}

/* Class k lies between the predictors k - 1 and k. */
static void cumulative(const double eta[], const double p[], size_t k, slopes *s)
{
    clear(s);
    if (k < s->d) {
        add_logistic(s, k, eta[k], p[k]);
    }
    if (k > 0) {
        add_logistic(s, k - 1, eta[k - 1], -p[k]);
    }
    to_logarithm(s);
}

/* Mean of the product of (indicator of class i + 1) - p over all of `index`. */
static double moment(size_t d, const double p[], size_t count, const size_t index[])
{
    double sum = 0.0;
    for (size_t k = 0; k <= d; k++) {
        double product = p[k];
        for (size_t i = 0; i < count; i++) {
            product *= (k == index[i] + 1 ? 1.0 : 0.0) - p[index[i] + 1];
        }
        sum += product;
    }
    return sum;
}

/* Minus the cumulants of the class's indicator, whatever the class but for the first. */
static void baseline(const double p[], size_t k, slopes *s)
{
    const size_t d = s->d, dd = d * d, ddd = dd * d;
    for (size_t a = 0; a < d; a++) {
        s->one[a] = (k == a + 1 ? 1.0 : 0.0) - p[a + 1];
    }
    for (size_t at = 0; at < dd; at++) {
        const size_t index[] = {at % d, at / d};
        s->two[at] = -moment(d, p, 2, index);
    }
    for (size_t at = 0; at < dd * d; at++) {
        const size_t index[] = {at % d, at / d % d, at / dd};
        s->three[at] = -moment(d, p, 3, index);
    }
    const double *h = s->two;
    for (size_t at = 0; at < dd * dd; at++) {
        const size_t a = at % d, b = at / d % d, c = at / dd % d, e = at / ddd;
        const size_t index[] = {a, b, c, e};
        s->four[at] = -(moment(d, p, 4, index) - h[a + d * b] * h[c + d * e] -
                        h[a + d * c] * h[b + d * e] - h[a + d * e] * h[b + d * c]);
    }
}

/* ---- expectations ---------------------------------------------------------------------- */

static void add_class(const slopes *s, double p, qx_class_cumulants *out)
{
    const size_t d = s->d, dd = d * d, ddd = dd * d;
    const double *g = s->one, *h = s->two, *t = s->three;
    for (size_t at = 0; at < dd; at++) {
        out->information[at] -= p * h[at];
    }
    for (size_t at = 0; at < ddd; at++) {
        out->third[at] += p * t[at];
        out->turn[at] += p * (t[at] + h[at % dd] * g[at / dd]);
    }
    for (size_t e = 0, at = 0; e < d; e++) {
        for (size_t abc = 0; abc < ddd; abc++, at++) {
            const size_t a = abc % d, b = abc / d % d, c = abc / dd;
            const double third = s->four[at] + t[abc] * g[e];
            const double second = s->four[at] + t[a + d * c + dd * b] * g[e] +
                                  t[a + d * c + dd * e] * g[b] +
                                  h[a + d * c] * h[b + d * e] +
                                  h[a + d * c] * g[b] * g[e];
            out->fourth[at] += p * (0.25 * s->four[at] - third + second);
        }
    }
}

qx_status qx_class_cumulants_at(qx_ctx *cx,
                                bool parallel,
                                const double eta[],
                                const double probability[],
                                qx_class_cumulants *out)
{
    const size_t d = out->d;
    slopes s;
    if (d == 0) {
        return QX_OK; /* one class */
    }
    memset(out->information, 0, power(d, 2) * sizeof *out->information);
    memset(out->third, 0, power(d, 3) * sizeof *out->third);
    memset(out->turn, 0, power(d, 3) * sizeof *out->turn);
    memset(out->fourth, 0, power(d, 4) * sizeof *out->fourth);
    QX_TRY(slopes_room(cx, d, &s));
    for (size_t k = 0; k <= d; k++) {
        if (!(probability[k] > 0.0)) {
            continue;
        }
        if (parallel) {
            cumulative(eta, probability, k, &s);
        } else {
            baseline(probability, k, &s);
        }
        add_class(&s, probability[k], out);
    }
    return QX_OK;
}

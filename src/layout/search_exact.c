#include <math.h>
#include <string.h>

#include "layout/search_state.h"

/* No BLAS in here: the same rounding on every machine. */

/* C + M + ridge into G. */
static void form_information(qx_searching *s)
{
    const size_t v = s->v;
    qx_searching_information(s);
    for (size_t i = 0; i < v; i++) {
        for (size_t j = 0; j < v; j++) {
            const bool together = qx_searching_family(s, i) == qx_searching_family(s, j);
            s->G[i * v + j] += together ? s->mean_r / (double)v : 0;
        }
        s->G[i * (v + 1)] += s->ridge;
    }
}

/* G := L, lower, of G = LL'. False: not positive definite. */
static bool factor(qx_searching *s)
{
    const size_t v = s->v;
    for (size_t j = 0; j < v; j++) {
        double *row_j = s->G + j * v;
        double pivot = row_j[j];
        for (size_t k = 0; k < j; k++) {
            pivot -= row_j[k] * row_j[k];
        }
        if (!(pivot > QX_SEARCH_SINGULAR * s->mean_r)) {
            return false;
        }
        row_j[j] = sqrt(pivot);
        for (size_t i = j + 1; i < v; i++) {
            double *row_i = s->G + i * v;
            double sum = row_i[j];
            for (size_t k = 0; k < j; k++) {
                sum -= row_i[k] * row_j[k];
            }
            row_i[j] = sum / row_j[j];
        }
    }
    return true;
}

/* H := L^-1 (lower), then G := H'H and H := G G. */
static void invert(qx_searching *s)
{
    const size_t v = s->v;
    memset(s->H, 0, v * v * sizeof *s->H);
    for (size_t i = 0; i < v; i++) {
        double *out = s->H + i * v;
        out[i] = 1;
        for (size_t k = 0; k < i; k++) {
            const double factor = s->G[i * v + k];
            const double *row = s->H + k * v;
            for (size_t j = 0; j <= k; j++) {
                out[j] -= factor * row[j];
            }
        }
        for (size_t j = 0; j <= i; j++) {
            out[j] /= s->G[i * (v + 1)];
        }
    }
    memset(s->G, 0, v * v * sizeof *s->G);
    for (size_t k = 0; k < v; k++) {
        const double *row = s->H + k * v;
        for (size_t i = 0; i <= k; i++) {
            for (size_t j = 0; j <= k; j++) {
                s->G[i * v + j] += row[i] * row[j];
            }
        }
    }
    memset(s->H, 0, v * v * sizeof *s->H);
    for (size_t i = 0; i < v; i++) {
        for (size_t k = 0; k < v; k++) {
            const double factor = s->G[i * v + k];
            const double *row = s->G + k * v;
            for (size_t j = 0; j < v; j++) {
                s->H[i * v + j] += factor * row[j];
            }
        }
    }
}

bool qx_exact_form(qx_searching *s)
{
    const double v = (double)s->v;
    form_information(s);
    s->changes = 0;
    s->spent += v * v * v / 6;
    if (!factor(s)) {
        return false;
    }
    invert(s);
    s->spent += 2 * v * v * v;
    s->trace = 0;
    for (size_t i = 0; i < s->v; i++) {
        s->trace += s->G[i * (s->v + 1)];
    }
    return true;
}

/* --- a try --- */

/* a'Xa, a'Xd and d'Xd for X = G or H. */
typedef struct forms {
    double aa, ad, dd;
} forms;

static forms quadratic(const qx_searching *s, const double X[], size_t i, size_t j)
{
    const size_t v = s->v;
    forms q = {0, 0, X[i * (v + 1)] + X[j * (v + 1)] - 2 * X[i * v + j]};
    for (size_t x = 0; x < s->touched_count; x++) {
        const size_t t = s->touched[x];
        const double *row = X + t * v;
        double sum = 0;
        for (size_t y = 0; y < x; y++) {
            sum += s->value[s->touched[y]] * row[s->touched[y]];
        }
        q.aa += s->value[t] * (2 * sum + s->value[t] * row[t]);
        q.ad += s->value[t] * (row[j] - row[i]);
    }
    return q;
}

typedef struct change {
    forms g, h;
    double rho, gain; /* gain: tr G' - tr G */
} change;

/* False: the change would lose a difference. */
static bool weigh(qx_searching *s, size_t i, size_t j, change *out)
{
    out->g = quadratic(s, s->G, i, j);
    out->h = quadratic(s, s->H, i, j);
    const double rest = 1 - out->g.ad;
    out->rho = rest * rest - out->g.aa * out->g.dd;
    s->spent += (double)s->touched_count * (double)(s->touched_count + 4) + 40;
    if (!(out->rho > QX_SEARCH_SINGULAR)) {
        return false;
    }
    out->gain =
        (out->g.dd * out->h.aa + 2 * rest * out->h.ad + out->g.aa * out->h.dd) / out->rho;
    return true;
}

static void multiply(
    const qx_searching *s, const double X[], size_t i, size_t j, double a[], double d[])
{
    const size_t v = s->v;
    for (size_t r = 0; r < v; r++) {
        a[r] = 0;
        d[r] = X[j * v + r] - X[i * v + r];
    }
    for (size_t x = 0; x < s->touched_count; x++) {
        const double factor = s->value[s->touched[x]];
        const double *row = X + s->touched[x] * v;
        for (size_t r = 0; r < v; r++) {
            a[r] += factor * row[r];
        }
    }
}

/* G += Z Q Z', H += Z W' + W Z' with Z = G U, W = H U Q + Z Q (U'HU) Q / 2. */
static void update(qx_searching *s, size_t i, size_t j, const change *c)
{
    const size_t v = s->v;
    const double q11 = c->g.dd / c->rho;
    const double q12 = (1 - c->g.ad) / c->rho;
    const double q22 = c->g.aa / c->rho;
    /* P = Q (U'HU) Q / 2 */
    const double t11 = q11 * c->h.aa + q12 * c->h.ad;
    const double t12 = q11 * c->h.ad + q12 * c->h.dd;
    const double t21 = q12 * c->h.aa + q22 * c->h.ad;
    const double t22 = q12 * c->h.ad + q22 * c->h.dd;
    const double p11 = (t11 * q11 + t12 * q12) / 2;
    const double p12 = (t11 * q12 + t12 * q22) / 2;
    const double p21 = (t21 * q11 + t22 * q12) / 2;
    const double p22 = (t21 * q12 + t22 * q22) / 2;
    multiply(s, s->G, i, j, s->ga, s->gd);
    multiply(s, s->H, i, j, s->ha, s->hd);
    for (size_t r = 0; r < v; r++) {
        const double wa =
            s->ha[r] * q11 + s->hd[r] * q12 + s->ga[r] * p11 + s->gd[r] * p21;
        const double wd =
            s->ha[r] * q12 + s->hd[r] * q22 + s->ga[r] * p12 + s->gd[r] * p22;
        s->ha[r] = wa;
        s->hd[r] = wd;
    }
    for (size_t r = 0; r < v; r++) {
        const double za = s->ga[r] * q11 + s->gd[r] * q12;
        const double zd = s->ga[r] * q12 + s->gd[r] * q22;
        const double ga = s->ga[r];
        const double gd = s->gd[r];
        const double ha = s->ha[r];
        const double hd = s->hd[r];
        double *row_g = s->G + r * v;
        double *row_h = s->H + r * v;
        for (size_t k = 0; k < v; k++) {
            row_g[k] += za * s->ga[k] + zd * s->gd[k];
            row_h[k] += ga * s->ha[k] + gd * s->hd[k] + ha * s->ga[k] + hd * s->gd[k];
        }
    }
    s->trace += c->gain;
    s->changes++;
    s->spent += 6 * (double)v * (double)v;
}

bool qx_exact_attempt(qx_searching *s, size_t p, size_t q, double threshold)
{
    const size_t i = s->at[p];
    const size_t j = s->at[q];
    change c = {0};
    if (i == j || !qx_searching_gather(s, p, q)) {
        return false;
    }
    const bool taken = weigh(s, i, j, &c) && c.gain < threshold;
    if (taken) {
        update(s, i, j, &c);
        s->at[p] = (uint32_t)j;
        s->at[q] = (uint32_t)i;
    }
    qx_searching_forget(s);
    return taken;
}

/* What the updates cost is paid back by then. */
bool qx_exact_refresh(qx_searching *s)
{
    const size_t often = s->v > 200 ? s->v : 200;
    return s->changes < often || qx_exact_form(s);
}

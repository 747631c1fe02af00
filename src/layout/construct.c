#include "layout/construct.h"

#include <string.h>

#include "layout/field.h"

#define STEPS_MOST 3000000 /* of going through base blocks: some 30 ms */
#define BLOCK_MOST 64      /* treatments of a base block */

/* --- base blocks whose differences are balanced --- */

typedef struct bases {
    size_t v, k, m; /* m base blocks of k, mod v */
    size_t lambda;  /* each difference so often */
    size_t steps;
    uint32_t *element; /* m x k */
    size_t *seen;      /* of each difference */
} bases;

/* Adds (by = 1) or takes back (by = -1) the differences of element `at` with those before
 * it in its block. False (and nothing is added) if one would come too often. */
static bool add_differences(bases *s, size_t at, size_t x)
{
    const uint32_t *block = s->element + at / s->k * s->k;
    const size_t before = at % s->k;
    for (size_t i = 0; i < before; i++) {
        const size_t d = (x + s->v - block[i]) % s->v;
        s->seen[d]++;
        s->seen[s->v - d]++;
        if (s->seen[d] > s->lambda || s->seen[s->v - d] > s->lambda) {
            for (size_t j = 0; j <= i; j++) {
                const size_t back = (x + s->v - block[j]) % s->v;
                s->seen[back]--;
                s->seen[s->v - back]--;
            }
            return false;
        }
    }
    return true;
}

static void take_back(bases *s, size_t at)
{
    const uint32_t *block = s->element + at / s->k * s->k;
    for (size_t i = 0; i < at % s->k; i++) {
        const size_t d = (block[at % s->k] + s->v - block[i]) % s->v;
        s->seen[d]--;
        s->seen[s->v - d]--;
    }
}

/* Element by element; each block begins with 0 and rises. Not recursive: `element` is the
 * stack. */
static bool find_bases(bases *s)
{
    const size_t n = s->m * s->k;
    size_t at = 0;
    size_t x = 0;
    for (;;) {
        bool placed = false;
        const bool head = at % s->k == 0;
        const size_t end = head ? 1 : s->v;
        for (; x < end && !placed; x++) {
            if (++s->steps > STEPS_MOST) {
                return false;
            }
            placed = add_differences(s, at, x);
        }
        if (placed) {
            s->element[at] = (uint32_t)(x - 1);
            if (++at == n) {
                return true;
            }
            x = at % s->k == 0 ? 0 : s->element[at - 1] + 1U;
            continue;
        }
        if (at == 0) {
            return false;
        }
        at--;
        take_back(s, at);
        x = s->element[at] + 1U;
    }
}

static qx_status differences(qx_ctx *cx, bases *s, bool *found)
{
    *found = false;
    if (s->k > BLOCK_MOST || s->v < 3 || s->m == 0 ||
        s->m * s->k * (s->k - 1) % (s->v - 1) != 0) {
        return QX_OK;
    }
    s->lambda = s->m * s->k * (s->k - 1) / (s->v - 1);
    QX_NEW(cx, s->element, s->m * s->k);
    QX_NEW(cx, s->seen, s->v + 1);
    *found = find_bases(s);
    return QX_OK;
}

static void develop(const bases *s, uint32_t treatment[])
{
    for (size_t base = 0; base < s->m; base++) {
        for (size_t c = 0; c < s->v; c++) {
            for (size_t i = 0; i < s->k; i++) {
                *treatment++ = (uint32_t)((s->element[base * s->k + i] + c) % s->v);
            }
        }
    }
}

/* --- every choice of k among v --- */

/* v over k, or `most` + 1 if it is more. */
static size_t choices(size_t v, size_t k, size_t most)
{
    size_t n = 1;
    for (size_t i = 0; i < k; i++) {
        n = n * (v - i) / (i + 1);
        if (n > most) {
            return most + 1;
        }
    }
    return n;
}

static void all_choices(size_t v, size_t k, size_t times, uint32_t treatment[])
{
    for (size_t n = 0; n < times; n++) {
        uint32_t now[BLOCK_MOST];
        for (size_t i = 0; i < k; i++) {
            now[i] = (uint32_t)i;
        }
        for (;;) {
            memcpy(treatment, now, k * sizeof *now);
            treatment += k;
            size_t i = k;
            while (i > 0 && now[i - 1] == v - k + i - 1) {
                i--;
            }
            if (i == 0) {
                break;
            }
            now[i - 1]++;
            for (; i < k; i++) {
                now[i] = now[i - 1] + 1;
            }
        }
    }
}

/* --- balanced --- */

/* Complements of b blocks of v - k, both block by block. */
static void complement(
    size_t v, size_t k, size_t b, const uint32_t other[], uint32_t treatment[], bool *has)
{
    for (size_t block = 0; block < b; block++) {
        memset(has, 0, v * sizeof *has);
        for (size_t i = 0; i < v - k; i++) {
            has[other[block * (v - k) + i]] = true;
        }
        for (size_t t = 0; t < v; t++) {
            if (!has[t]) {
                *treatment++ = (uint32_t)t;
            }
        }
    }
}

/* k at most half of v. */
static qx_status
balanced(qx_ctx *cx, size_t v, size_t k, size_t b, uint32_t treatment[], bool *found)
{
    const size_t all = choices(v, k, b);
    if (b % all == 0) {
        all_choices(v, k, b / all, treatment);
        *found = true;
        return QX_OK;
    }
    size_t root = 1;
    while (root * root < v) {
        root++;
    }
    qx_field field;
    if (root * root == v && k == root && b == root * (root + 1) &&
        qx_field_init(root, &field)) {
        *found = true;
        return qx_construct_sets(cx, k, root, root + 1, treatment);
    }
    if (b % v == 0) {
        bases s = {.v = v, .k = k, .m = b / v};
        QX_TRY(differences(cx, &s, found));
        if (*found) {
            develop(&s, treatment);
        }
    }
    return QX_OK;
}

static qx_status
any_balanced(qx_ctx *cx, size_t v, size_t k, size_t b, uint32_t treatment[], bool *found)
{
    if (2 * k <= v) {
        return balanced(cx, v, k, b, treatment, found);
    }
    uint32_t *other = NULL;
    bool *has = NULL;
    QX_NEW(cx, other, b * (v - k));
    QX_NEW(cx, has, v);
    QX_TRY(balanced(cx, v, v - k, b, other, found));
    if (*found) {
        complement(v, k, b, other, treatment, has);
    }
    return QX_OK;
}

qx_status qx_construct_balanced(
    qx_ctx *cx, size_t v, size_t k, size_t b, uint32_t treatment[], bool *found)
{
    *found = false;
    const bool whole =
        v > 2 && k > 1 && k < v && b * k % v == 0 && b * k / v * (k - 1) % (v - 1) == 0;
    if (!whole || k > BLOCK_MOST || v - k > 4 * (size_t)BLOCK_MOST) {
        return QX_OK;
    }
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, any_balanced(cx, v, k, b, treatment, found));
    return status;
}

/* --- sets --- */

/* Treatment i s + j stands in block j + a i of a set. */
static size_t block_of(const qx_field *field, size_t s, size_t a, size_t i, size_t j)
{
    return field != NULL ? qx_field_add(field, j, qx_field_multiply(field, a, i))
                         : (j + a * i) % s;
}

qx_status
qx_construct_sets(qx_ctx *cx, size_t k, size_t s, size_t sets, uint32_t treatment[])
{
    qx_field room;
    const qx_field *field = k <= s && qx_field_init(s, &room) ? &room : NULL;
    size_t *next = NULL;
    QX_NEW(cx, next, s);
    for (size_t set = 0; set < sets; set++) {
        const size_t a = set % (s + (k == s ? 1 : 0));
        memset(next, 0, s * sizeof *next);
        for (size_t i = 0; i < k; i++) {
            for (size_t j = 0; j < s; j++) {
                /* a = s, which k = s alone allows: the rows themselves */
                const size_t block = a == s ? i : block_of(field, s, a, i, j);
                treatment[(set * s + block) * k + next[block]++] = (uint32_t)(i * s + j);
            }
        }
    }
    return QX_OK;
}

/* --- Youden squares --- */

static qx_status
youden(qx_ctx *cx, size_t v, size_t rows, uint32_t treatment[], bool *found)
{
    bases s = {.v = v, .k = rows, .m = 1};
    QX_TRY(differences(cx, &s, found));
    for (size_t i = 0; *found && i < rows; i++) {
        for (size_t c = 0; c < v; c++) {
            treatment[i * v + c] = (uint32_t)((s.element[i] + c) % v);
        }
    }
    return QX_OK;
}

qx_status
qx_construct_youden(qx_ctx *cx, size_t v, size_t rows, uint32_t treatment[], bool *found)
{
    *found = false;
    qx_status status = QX_OK;
    if (rows > 1 && rows < v) {
        QX_SCRATCH(cx, status, youden(cx, v, rows, treatment, found));
    }
    return status;
}

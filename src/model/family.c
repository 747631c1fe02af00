#include "model/family.h"

#include <string.h>

static const qx_family *const families[] = {
#define X(key) &qx_family_##key,
#include "model/families.def"
#undef X
};

size_t qx_family_count(void)
{
    return QX_COUNT(families);
}

const qx_family *qx_family_get(size_t i)
{
    return i < QX_COUNT(families) ? families[i] : NULL;
}

const qx_family *qx_family_find(const char *key)
{
    for (size_t i = 0; i < QX_COUNT(families); i++) {
        if (strcmp(families[i]->key, key) == 0) {
            return families[i];
        }
    }
    return NULL;
}

size_t qx_family_refused(const qx_family *family,
                         size_t n,
                         const double k[],
                         const double size[],
                         size_t most,
                         size_t row[],
                         const char **why)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        const char *reason = NULL;
        if (family->support(k[i], size == NULL ? 0.0 : size[i], &reason)) {
            continue;
        }
        if (count == 0 && why != NULL) {
            *why = reason;
        }
        if (count < most) {
            row[count] = i;
        }
        count++;
    }
    return count;
}

#include "trial/usual.h"

#include <string.h>

#include "base/attr.h"

#define MEMORY "common range, from memory: to be replaced by your own history"

static const qx_usual usual[] = {
    {"apple yield", 22.7, "187 mature trees, Strickland 1935, uniformity data"},
    {"apple yield of young trees",
     41.4,
     "224 ten-year-old trees, Batchelor & Reed 1918, uniformity data"},
    {"bud break", 30.0, MEMORY " (20 to 40)"},
    {"crop density", 27.5, MEMORY " (20 to 35)"},
    {"firmness", 6.0, MEMORY " (4 to 8)"},
    {"fruit count", 30.0, MEMORY " (20 to 40)"},
    {"fruit weight", 9.0, MEMORY " (6 to 12)"},
    {"grape yield", 43.5, "125 vines, Strickland 1935, uniformity data"},
    {"lemon yield", 29.9, "364 trees, Batchelor & Reed 1918, uniformity data"},
    {"orange yield", 39.1, "1,000 trees, Batchelor & Reed 1918, uniformity data"},
    {"peach yield", 31.1, "144 trees, Strickland 1935, uniformity data"},
    {"shoot length", 15.0, MEMORY " (mean of ten shoots a tree, 10 to 20)"},
    {"soluble solids", 6.0, MEMORY " (4 to 8)"},
    {"trunk area", 15.0, MEMORY " (nursery-uniform young trees, 10 to 20)"},
    {"walnut yield", 46.5, "280 trees, Batchelor & Reed 1918, uniformity data"}};

size_t qx_usual_count(void)
{
    return QX_COUNT(usual);
}

const qx_usual *qx_usual_get(size_t i)
{
    return &usual[i];
}

const qx_usual *qx_usual_find(const char *name)
{
    for (size_t i = 0; i < QX_COUNT(usual); i++) {
        if (strcmp(usual[i].name, name) == 0) {
            return &usual[i];
        }
    }
    return NULL;
}

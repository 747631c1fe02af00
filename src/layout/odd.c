#include "layout/odd.h"

#include <math.h>
#include <stdlib.h>

#define MAD_TO_SD      0.6745
#define NEIGHBOURS_MIN 3

static int compare(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median of the first `count`; they are sorted. */
static double median(double value[], size_t count)
{
    qsort(value, count, sizeof *value, compare);
    return count % 2 == 1 ? value[count / 2]
                          : 0.5 * (value[count / 2 - 1] + value[count / 2]);
}

/* z of each value that is a number; `room` holds `count`. */
static void robust_z(size_t count, const double value[], double room[], double z[])
{
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isnan(value[i])) {
            room[n++] = value[i];
        }
    }
    const double middle = n == 0 ? (double)NAN : median(room, n);
    for (size_t i = 0; i < n; i++) {
        room[i] = fabs(room[i] - middle);
    }
    const double mad = n == 0 ? 0.0 : median(room, n);
    for (size_t i = 0; i < count; i++) {
        z[i] = mad > 0.0 ? MAD_TO_SD * (value[i] - middle) / mad : (double)NAN;
    }
}

/* What a tree's neighbours are like: log sizes of the nearest, kept sorted by distance. */
typedef struct near {
    size_t count;
    double distance[QX_ODD_NEIGHBOUR], log_size[QX_ODD_NEIGHBOUR];
} near;

static void offer(near *nearest, double distance, double log_size)
{
    size_t at = nearest->count;
    if (at == QX_ODD_NEIGHBOUR && distance >= nearest->distance[at - 1]) {
        return;
    }
    at = at == QX_ODD_NEIGHBOUR ? at - 1 : nearest->count++;
    for (; at > 0 && nearest->distance[at - 1] > distance; at--) {
        nearest->distance[at] = nearest->distance[at - 1];
        nearest->log_size[at] = nearest->log_size[at - 1];
    }
    nearest->distance[at] = distance;
    nearest->log_size[at] = log_size;
}

static double from_neighbours(size_t i,
                              size_t count,
                              const double x_m[],
                              const double y_m[],
                              const double log_size[])
{
    near nearest = {0};
    for (size_t j = 0; j < count; j++) {
        if (j != i && !isnan(log_size[j])) {
            offer(&nearest, hypot(x_m[i] - x_m[j], y_m[i] - y_m[j]), log_size[j]);
        }
    }
    return nearest.count < NEIGHBOURS_MIN
               ? (double)NAN
               : log_size[i] - median(nearest.log_size, nearest.count);
}

static qx_status make(qx_ctx *cx,
                      size_t count,
                      const double x_m[],
                      const double y_m[],
                      const double size[],
                      qx_oddness out[])
{
    double *log_size, *room, *z, *apart;
    QX_NEW(cx, log_size, count);
    QX_NEW(cx, room, count);
    QX_NEW(cx, z, count);
    QX_NEW(cx, apart, count);
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(x_m[i]) || !isfinite(y_m[i]) || size[i] <= 0.0 || isinf(size[i])) {
            return qx_fail(cx, QX_E_ARG, "a tree has no place, or a size not above 0");
        }
        log_size[i] = log(size[i]);
    }
    for (size_t i = 0; i < count; i++) {
        apart[i] = from_neighbours(i, count, x_m, y_m, log_size);
    }
    robust_z(count, log_size, room, z);
    for (size_t i = 0; i < count; i++) {
        out[i].among_all = z[i];
    }
    robust_z(count, apart, room, z);
    for (size_t i = 0; i < count; i++) {
        out[i].among_neighbours = z[i];
    }
    return QX_OK;
}

qx_status qx_odd_trees(qx_ctx *cx,
                       size_t count,
                       const double x_m[],
                       const double y_m[],
                       const double size[],
                       qx_oddness out[])
{
    qx_status status = QX_OK;
    QX_SCRATCH(cx, status, make(cx, count, x_m, y_m, size, out));
    return status;
}

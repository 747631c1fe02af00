/* report/scale.h - data to paper: a straight line through two points. */
#ifndef QX_REPORT_SCALE_H
#define QX_REPORT_SCALE_H

typedef struct qx_scale {
    double low, high; /* data, low < high */
    double from, to;  /* paper units; from > to turns the axis round */
} qx_scale;

/* Paper place of `x`, held inside the frame: infinities go to its edge. NAN gives NAN. */
double qx_scale_at(const qx_scale *scale, double x);

/* The data between which everything lies, grown value by value. */
typedef struct qx_extent {
    double low, high; /* low > high: nothing yet */
} qx_extent;

#define QX_EXTENT_EMPTY                                                                  \
    {                                                                                    \
        .low = 1.0, .high = 0.0                                                          \
    }

/* Takes one finite value in; anything else is left out. */
void qx_extent_take(qx_extent *extent, double x);

#endif

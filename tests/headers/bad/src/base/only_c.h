/* Good C, no C++. */
#ifndef ONLY_C_H
#define ONLY_C_H
int only_c(int n, const double x[static 1]);
#endif

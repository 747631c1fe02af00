#include "base/arena.h"
  #  include "cli/show.h"
static void *take(void) { return malloc(1); }
static void give(void *x) { /* a comment */ free(x); }
static void say(void) { (void)fprintf(stderr, "%s", "x"); }
static void stop(void) { exit(1); }
static const char *home(void) { return getenv("HOME"); }
static double read(const char *t) { return strtod(t, NULL); }

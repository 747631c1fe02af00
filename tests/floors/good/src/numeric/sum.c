/* May look down, may speak of malloc() and printf() in comments
 * that span lines: exit(3). */
#include "base/arena.h"
#include "numeric/sum.h"

#include <math.h>

static const char *const text = "printf(\"no call\"); free(x); // stderr";
static int print_free(int arena_free); // getenv("HOME")

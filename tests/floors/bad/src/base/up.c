#include "numeric/sum.h"
#include "sum.h"
#include <Rmath.h>
#include <curses.h>

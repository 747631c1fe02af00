#include "cli/progress.h"

#include <stdio.h>
#include <time.h>
#include <unistd.h>

#define BAR_WIDTH      30
#define PATIENCE_S     1.0 /* work shorter than this shows nothing */
#define BETWEEN_S      0.1 /* between two drawings */
#define CLEAR_TO_RIGHT "\r\033[K"

static double now(void)
{
    struct timespec time = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec * 1e-9;
}

static void listen_to(void *listener, const char *what, size_t done, size_t total)
{
    qx_bar *bar = listener;
    const double time = now();
    if (total == 0 || time - bar->begun < PATIENCE_S || time - bar->drawn < BETWEEN_S) {
        return;
    }
    bar->drawn = time;
    const double share = done >= total ? 1 : (double)done / (double)total;
    const int filled = (int)(share * BAR_WIDTH);
    (void)fprintf(stderr,
                  CLEAR_TO_RIGHT "%s [%.*s%*s] %3d %%",
                  what,
                  filled,
                  "##############################",
                  BAR_WIDTH - filled,
                  "",
                  (int)(share * 100));
}

void qx_bar_begin(qx_bar *bar, qx_ctx *cx)
{
    *bar = (qx_bar){.begun = now()};
    if (isatty(STDERR_FILENO) == 1) {
        qx_ctx_listen(cx, listen_to, bar);
    }
}

void qx_bar_end(qx_bar *bar, qx_ctx *cx)
{
    qx_ctx_listen(cx, NULL, NULL);
    if (bar->drawn > 0) {
        (void)fputs(CLEAR_TO_RIGHT, stderr);
    }
}

/* main.c - the program. */
#include <signal.h>

#include "cli/cli.h"

int main(int count, char *argument[])
{
    /* A file that would grow beyond a limit is a failed write with a message, not death. */
    (void)signal(SIGXFSZ, SIG_IGN);
    return qx_cli(count, (const char *const *)argument);
}

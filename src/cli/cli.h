/* cli/cli.h - the command line: quincunx VERB [OPTIONS] FILES. */
#ifndef QX_CLI_CLI_H
#define QX_CLI_CLI_H

/* Runs one command; gives the exit status of the contract: 0 done, 1 input has a problem,
 * 2 command line wrong, 3 the machine failed. */
int qx_cli(int count, const char *const argument[]);

#endif

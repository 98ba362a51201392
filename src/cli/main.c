/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The program's entry; everything else is in the layer's library, where tests can reach it. */
#include "cli/cli.h"

int main(int argc, char *argv[])
{
    return an_cli_main(argc, argv, AN_VERSION, AN_COMMIT);
}

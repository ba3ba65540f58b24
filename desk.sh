#!/bin/sh
# Opens the coordinator's page in the browser; started by a double click on Linux. The first start makes the environment.
cd -- "$(dirname -- "$0")" || exit
./run desk "$@"
code=$?
if [ "$code" -ne 0 ] && [ -t 0 ]; then
    printf '%s' "Press Enter to close this window."
    read -r _
fi
exit "$code"

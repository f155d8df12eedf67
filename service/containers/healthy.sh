#!/bin/sh
# Whether a store answers, and, if it follows another, has all of the other's data.
set -eu
REDISCLI_AUTH=$(cat /run/secrets/store-password)
export REDISCLI_AUTH
said=$(redis-cli info replication)
case $said in
*role:master*) ;;
*master_link_status:up*) ;;
*) exit 1 ;;
esac

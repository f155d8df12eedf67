#!/bin/sh
# Starts a Sentinel of docker-compose.yml. What it learnt lasts in its file; the password is the secret's each time.
# STORE_PRIMARY: the primary at the first start.
set -eu
umask 077
password=$(sed 's/["\\]/\\&/g' /run/secrets/store-password)
own=/data/sentinel.conf
if [ ! -e "$own" ]; then
  cat >"$own.new" <<EOF
port 26379
dir /data
sentinel monitor accord $STORE_PRIMARY 6379 2
sentinel down-after-milliseconds accord 3000
sentinel failover-timeout accord 10000
EOF
else
  grep -v '^sentinel auth-pass ' "$own" >"$own.new"
fi
printf 'sentinel auth-pass accord "%s"\n' "$password" >>"$own.new"
mv "$own.new" "$own"
exec redis-server "$own" --sentinel

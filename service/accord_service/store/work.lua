-- Work under way, compared and set. Nobody's act: it is in no audit.
-- KEYS: the work. ARGV: the version it must have (0: none), its state, the state's seal, whether a sum follows, the sum.
-- One that nobody touches for a week ends by itself: should a run be begun in the moment that it ends, nobody else would
-- take it away.
-- Answer: 1 if it was done, else 0.
local found = tonumber(redis.call('HGET', KEYS[1], 'v')) or 0
if found ~= tonumber(ARGV[1]) then
  return 0
end
redis.call('HSET', KEYS[1], 'v', found + 1, 'd', ARGV[2], 'm', ARGV[3])
if ARGV[4] == '1' then
  redis.call('HSET', KEYS[1], 's', ARGV[5])
end
redis.call('EXPIRE', KEYS[1], 604800)
return 1

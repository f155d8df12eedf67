-- The one write path. All or nothing: everything is checked before anything is written, and Redis runs a script whole.
-- KEYS: the audit list, the audit head, whose turn it is, then every key named below.
-- ARGV: expected audit head, new audit head, new audit entry, who asks for a turn (empty: nobody), ms that a turn lasts,
--       number of entries so far, what stands in the last of them (its hash; empty before the first),
--       the same of the newest entry that is known to have been there (0: none is),
--       number of expectations, then for each: index in KEYS, version (0: must not exist)
--       number of writes, then for each one of
--         put    index, document, its seal, seconds to live (0: as it was)
--         seal   index, seal
--         delete index
--         index  index, score, member
--         drop   index, member
-- Answer: {"done"}, {"conflict", index, found version}, {"moved", audit head, whether the known entry is there} or
-- {"cut", number of entries}: the last entry is not the one that the head is of.
local at = 9
local function take()
  at = at + 1
  return ARGV[at]
end

local function version_of(key)
  return tonumber(redis.call('HGET', key, 'v')) or 0
end

for _ = 1, tonumber(take()) do
  local index, expected = tonumber(take()), tonumber(take())
  local found = version_of(KEYS[index])
  if found ~= expected then
    return {'conflict', index, found}
  end
end

local function moved(head)
  local known = tonumber(ARGV[8])
  local there = known == 0 or string.find(redis.call('LINDEX', KEYS[1], known - 1) or '', ARGV[9], 1, true)
  return {'moved', head, there and 1 or 0}
end

-- Others may write first again and again: who asks for a turn is the next to write, unless it is too slow to take it.
local head, turn = redis.call('GET', KEYS[2]) or '', redis.call('GET', KEYS[3])
if turn and turn ~= ARGV[4] then
  return moved(head)
end
if head ~= ARGV[1] then
  if ARGV[4] ~= '' then
    redis.call('SET', KEYS[3], ARGV[4], 'PX', ARGV[5])
  end
  return moved(head)
end

-- A command on a key of another type would fail midway, and a script does not undo what it did.
local audit = redis.call('TYPE', KEYS[1]).ok
if audit ~= 'none' and audit ~= 'list' then
  return redis.error_reply('ERR ' .. KEYS[1] .. ' is a ' .. audit .. ', not a list')
end
local length = redis.call('LLEN', KEYS[1])
if length ~= tonumber(ARGV[6]) then
  return {'cut', length}
end
if length > 0 and not string.find(redis.call('LINDEX', KEYS[1], -1), ARGV[7], 1, true) then
  return {'cut', length}
end
local types = {put = 'hash', seal = 'hash', index = 'zset', drop = 'zset'}
local writes = {}
for _ = 1, tonumber(take()) do
  local kind = take()
  local write = {kind = kind, key = KEYS[tonumber(take())]}
  if kind == 'put' then
    write.document, write.seal, write.seconds = take(), take(), tonumber(take())
  elseif kind == 'seal' then
    write.seal = take()
  elseif kind == 'index' then
    write.score, write.member = take(), take()
  elseif kind == 'drop' then
    write.member = take()
  elseif kind ~= 'delete' then
    return redis.error_reply('ERR unknown write ' .. kind)
  end
  local found = redis.call('TYPE', write.key).ok
  if types[kind] and found ~= 'none' and found ~= types[kind] then
    return redis.error_reply('ERR ' .. write.key .. ' is a ' .. found .. ', not a ' .. types[kind])
  end
  writes[#writes + 1] = write
end

for _, write in ipairs(writes) do
  if write.kind == 'put' then
    redis.call('HINCRBY', write.key, 'v', 1)
    redis.call('HSET', write.key, 'd', write.document, 'm', write.seal)
    if write.seconds > 0 then
      redis.call('EXPIRE', write.key, write.seconds)
    end
  elseif write.kind == 'seal' then
    redis.call('HSET', write.key, 'm', write.seal)
  elseif write.kind == 'index' then
    redis.call('ZADD', write.key, write.score, write.member)
  elseif write.kind == 'drop' then
    redis.call('ZREM', write.key, write.member)
  else
    redis.call('DEL', write.key)
  end
end
redis.call('RPUSH', KEYS[1], ARGV[3])
redis.call('SET', KEYS[2], ARGV[2])
if turn then
  redis.call('DEL', KEYS[3])
end
return {'done'}

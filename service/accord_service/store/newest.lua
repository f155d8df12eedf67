-- How the chain ends, and whether it goes on from a head that was known before. Writes nothing but a witness to wait for.
-- KEYS: the audit list, the audit head, the witness.
-- ARGV: number of the known head's entry (0: none is known), what stands in that entry (its hash), ms that a witness lasts
--       (0: none is written).
-- Answer: {audit head, number of entries, whether the last is the one that the head is of, whether the known one is there}.
local head, length = redis.call('GET', KEYS[2]) or '', redis.call('LLEN', KEYS[1])
local function holds(place, text)
  return string.find(redis.call('LINDEX', KEYS[1], place) or '', text, 1, true) and 1 or 0
end

local ends = 0
if length == 0 then
  ends = head == '' and 1 or 0
else
  local seq, hash = string.match(head, '^%S+ (%d+) (%x+) ')
  if tonumber(seq) == length then
    ends = holds(-1, '"hash":"' .. hash .. '"')
  end
end
local known = tonumber(ARGV[1])
local goes_on = known == 0 and 1 or holds(known - 1, ARGV[2])
if ARGV[3] ~= '0' then
  redis.call('SET', KEYS[3], '', 'PX', ARGV[3])
end
return {head, length, ends, goes_on}
